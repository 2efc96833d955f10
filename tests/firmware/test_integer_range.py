"""Every integer of a tick fits the chip's small integers (30 bits and sign), else it would be on the heap."""

import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).with_name("checked_ints.py")


def test_every_operation_of_wild_ticks_stays_within_30_bits():
    command = [sys.executable, str(SCRIPT)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    words = done.stdout.split()
    assert int(words[1]) > 100_000, "the check looked at too little"


def test_the_check_can_fail():
    probe = (
        "import ast, checked_ints as c\n"
        "c.ticking = True\n"
        "tree = c.Wrap('probe').visit(ast.parse('x = 3\\nx *= 1 << 29\\ny = x - 1'))\n"
        "tree = ast.fix_missing_locations(tree)\n"
        "exec(compile(tree, 'probe', 'exec'), {'__checked__': c.__checked__})\n"
        "assert list(c.bad) == ['probe:2', 'probe:3'], c.bad\n"
    )
    subprocess.run([sys.executable, "-c", probe], cwd=SCRIPT.parent, check=True, timeout=60)
