"""The live panel: a local web page to move a part by hand, run its procedure, stop it, and read the result.

One thread owns the bench (:mod:`.driver`); pages talk to it over one socket each (:mod:`.lifeline`), whose
echo is also the dead-man (:mod:`.deadman`). Needs the optional extra ``panel``.
"""
