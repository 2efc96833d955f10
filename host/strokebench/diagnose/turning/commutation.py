"""Speed of a brushed motor from the ripple of its current, and what repeats with the turn.

N = lcm(segments, poles) ripples a turn (Vazquez-Sanchez et al., IEEE Trans. Ind. Electron. 59(3), 2012). A
burnt segment repeats with every brush it passes (order = poles), uneven load once a turn. The period is taken
from the autocorrelation, because a harmonic may be taller than the fundamental.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.stats import Floats

SLOWEST, FASTEST = 0.5, 2.5
"""Range of turn rates looked at, as shares of the expected one: a motor with half its flux runs twice as
fast."""
NEARLY = 0.85
"""A lag whose correlation reaches this share of the best one is a period."""
TOP_RIPPLE = 3.5
"""What lies above this many times the expected ripple frequency is left out."""
LEAST_SIGMAS = 5.0
"""Of the scatter that an autocorrelation of pure noise has, 1/sqrt(count of independent values): below that
nothing repeats."""
CLEAR = 0.5
"""Where less than this share of the variance repeats, the lines of the spectrum are asked first."""
MANY = 8
"""With fewer repetitions than this a period must be clear."""
FAINT = 4.0
"""Times the logarithm of the number of lines looked at, about the tallest of them in pure noise."""
QUIET = 2e-4
"""Of the tallest line's power: a floor below that is left as it is, so that nothing small is blown up."""
FLOOR_TURNS = 4.0
"""Width in turn rates over which the spectrum's floor is taken."""
LINE_SIGMAS = 5.0
TURN_CELLS = 180


@dataclass(frozen=True)
class Motor:
    """``segments`` of the commutator and ``poles`` (as many as brush positions)."""

    segments: int
    poles: int

    @property
    def ripples(self) -> int:
        """Ripples in one turn."""
        return math.lcm(self.segments, self.poles)

    @property
    def orders(self) -> tuple[int, ...]:
        """Repetitions per turn that the current's period may stand for."""
        return tuple(sorted({1, self.poles, self.ripples}, reverse=True))


@dataclass(frozen=True)
class Rate:
    """Turns per second, its standard uncertainty, and the share of the variance that repeats."""

    hz: float
    u_hz: float
    repeats: float


def turn_rate(values: Floats, rate_hz: float, motor: Motor, expected_hz: float) -> Rate | None:
    """Return the turn rate in ``values`` (one channel at ``rate_hz``), None when nothing repeats.

    ``expected_hz``, from the back-EMF, is needed to tell ripples from turns only: the period found is taken
    for that order which comes closest to it.
    """
    if len(values) < 64 or not math.isfinite(expected_hz) or expected_hz <= 0:
        return None
    lag = period(values, rate_hz, expected_hz, motor)
    if lag is None or lag[1] < CLEAR:
        by_lines = faint_rate(values, rate_hz, motor, expected_hz)
        if lag is None or by_lines is not None:
            return by_lines
    found_hz = rate_hz / lag[0]
    order = min(motor.orders, key=lambda order: abs(math.log(found_hz / order / expected_hz)))
    rough = found_hz / order
    if not SLOWEST * 0.95 <= rough / expected_hz <= FASTEST * 1.05:
        return None
    hz, u_hz = refined(values, rate_hz, rough, order, motor)
    if not _line(values, rate_hz, motor.ripples * hz):
        by_lines = faint_rate(values, rate_hz, motor, expected_hz)
        if by_lines is not None and not _bad_segment(values, rate_hz, motor, (hz, by_lines.hz), expected_hz):
            return by_lines
    return Rate(hz, u_hz, lag[1])


def _bad_segment(
    values: Floats, rate_hz: float, motor: Motor, rates_hz: tuple[float, float], expected_hz: float
) -> bool:
    """True when the first of two rates has no ripple because a bad segment hides it.

    What passes its brushes is then taller than the other's ripple, and it is nearer to what is expected.
    """
    first_hz, second_hz = rates_hz
    passes = _line(values, rate_hz, motor.poles * first_hz)
    nearer = abs(math.log(first_hz / expected_hz)) < abs(math.log(second_hz / expected_hz))
    return nearer and passes > _line(values, rate_hz, motor.ripples * second_hz)


def _line(values: Floats, rate_hz: float, hz: float) -> float:
    """Amplitude at a frequency, 0 where it does not stand out of the noise beside it.

    Noise with a memory may make some other number of ripples look like a turn; that has no line there.
    """
    size, noise = order_amplitude(values, rate_hz, hz)
    return size if size > LINE_SIGMAS * noise else 0.0


def faint_rate(values: Floats, rate_hz: float, motor: Motor, expected_hz: float) -> Rate | None:
    """The same for a ripple so weak that its repetition drowns in the converter's noise: by its lines.

    Sum over the first three harmonics of line power over floor, weighted 1, 1/2, 1/3, so that neither half
    nor twice the rate wins. Lines of pure noise are exponentially distributed; the best must stand far
    above them.
    """
    from scipy.ndimage import median_filter

    count, window = len(values), np.hanning(len(values))
    power = np.abs(np.fft.rfft((values - values.mean()) * window)) ** 2
    floor = median_filter(power, 201, mode="nearest") / math.log(2)
    height = power / np.maximum(floor, 1e-30)
    step_hz = rate_hz / count
    first = math.ceil(SLOWEST * expected_hz * motor.ripples / step_hz)
    last = int(FASTEST * expected_hz * motor.ripples / step_hz)
    bins = np.arange(max(first, 2), min(last, (len(height) - 3) // 3))
    if len(bins) < 10:
        return None
    near = [
        np.max([height[h * bins + k] for k in range(-(h // 2), h // 2 + 1)], axis=0) / h for h in (1, 2, 3)
    ]
    score = np.sum(near, axis=0)
    at = int(np.argmax(score))
    if score[at] < FAINT * math.log(len(bins)):
        return None
    rough = bins[at] * step_hz / motor.ripples
    hz, u_hz = refined(values, rate_hz, rough, motor.ripples, motor)
    return Rate(hz, u_hz, 0.0)


def period(values: Floats, rate_hz: float, expected_hz: float, motor: Motor) -> tuple[float, float] | None:
    """Shortest lag (in samples, with fraction) at which the signal repeats, and how much of it does."""
    floor_bins = round(FLOOR_TURNS * expected_hz * len(values) / rate_hz)
    top_hz = min(TOP_RIPPLE * motor.ripples * expected_hz, 0.5 * rate_hz)
    white = whitened(band_passed(values, rate_hz, 0.4 * expected_hz, top_hz), floor_bins)
    correlation = autocorrelation(white)
    first = max(2, int(rate_hz / (FASTEST * 1.05 * expected_hz * motor.ripples)))
    last = min(int(rate_hz * 1.05 / (SLOWEST * expected_hz)), len(values) // 2)
    if last - first < 3:
        return None
    inside = correlation[first:last]
    peaks = np.flatnonzero((inside[1:-1] >= inside[:-2]) & (inside[1:-1] > inside[2:])) + 1
    # noise that a winding smooths falls off from lag 0; what repeats comes back after a dip
    dips = np.flatnonzero(correlation[1:last] < 0)
    if not len(peaks) or not len(dips):
        return None
    peaks = peaks[peaks + first > dips[0] + 1]
    if not len(peaks):
        return None
    best = float(inside[peaks].max())
    at = int(peaks[np.argmax(inside[peaks] >= NEARLY * best)])
    sharp, lasting = _sharpened(correlation, first + at)
    least = LEAST_SIGMAS / math.sqrt(len(values) * top_hz / rate_hz)
    if lasting < (least if len(values) > 2 * MANY * sharp else CLEAR):
        return None
    return sharp, lasting


def _sharpened(correlation: Floats, lag: int) -> tuple[float, float]:
    """The same period from ever later repetitions, and the correlation's median at all of its multiples.

    At its n-fold an error of the lag counts n times; and what only looks like a period at first, as the
    side lobes of noise cut to a band do, is gone by then.
    """
    sharp, times = _summit(correlation, lag), 2
    while (times + 0.5) * sharp < len(correlation) / 2 and times <= 32:
        reach = max(2, round(0.2 * sharp))
        middle = round(times * sharp)
        at = middle - reach + int(np.argmax(correlation[middle - reach : middle + reach + 1]))
        sharp = _summit(correlation, at) / times
        times *= 2
    multiples = sharp * np.arange(1, min(40, int(len(correlation) / 2 / sharp)) + 1)
    return sharp, float(np.median(np.interp(multiples, np.arange(len(correlation)), correlation)))


def _summit(correlation: Floats, at: int) -> float:
    """Place of a maximum between the samples, by a parabola."""
    left, top, right = correlation[at - 1 : at + 2]
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return at + float(np.clip(shift, -0.5, 0.5))


def autocorrelation(values: Floats) -> Floats:
    """Autocorrelation by FFT, 1 at lag 0, each lag divided by the number of pairs behind it."""
    count = len(values)
    size = 1 << (2 * count - 1).bit_length()
    power = np.abs(np.fft.rfft(values, size)) ** 2
    raw = np.fft.irfft(power, size)[:count] / np.arange(count, 0, -1)
    return np.asarray(raw / raw[0] if raw[0] > 0 else raw, float)


def band_passed(values: Floats, rate_hz: float, above_hz: float, below_hz: float) -> Floats:
    """Without mean and everything outside ``above_hz`` to ``below_hz``.

    Cut straight below; the upper half of the band fades out as a cosine, because noise that is cut straight
    there swings on as if it had a period.
    """
    spectrum = np.fft.rfft(values - values.mean())
    step_hz = rate_hz / len(values)
    spectrum[: math.ceil(above_hz / step_hz)] = 0
    place = np.clip(2 * np.arange(len(spectrum)) * step_hz / below_hz - 1, 0, 1)
    spectrum *= 0.5 * (1 + np.cos(np.pi * place))
    return np.asarray(np.fft.irfft(spectrum, len(values)), float)


def whitened(values: Floats, floor_bins: int) -> Floats:
    """With the floor of its spectrum made level (running median of the power), so that lines stand out of
    noise that the winding has coloured."""
    from scipy.ndimage import median_filter

    spectrum = np.fft.rfft(values)
    power = np.abs(spectrum) ** 2
    floor = median_filter(power, max(31, floor_bins | 1), mode="nearest")
    level = np.sqrt(np.maximum(floor, QUIET * power.max() + 1e-30))
    return np.asarray(np.fft.irfft(spectrum / level, len(values)), float)


def refined(values: Floats, rate_hz: float, rough_hz: float, order: int, motor: Motor) -> tuple[float, float]:
    """Turn rate from the strongest line among the multiples of ``order``, with its standard uncertainty.

    Line: parabola through the logarithms of a Hann spectrum. Uncertainty: a twentieth of a bin, the largest
    error of that interpolation (about 5 % of a bin), and the noise beside the line.
    """
    count = len(values)
    size = 1 << (2 * count - 1).bit_length()
    power = np.abs(np.fft.rfft((values - values.mean()) * np.hanning(count), size))
    step = rate_hz / size
    best, bin_hz = (0.0, rough_hz), rate_hz / count
    for multiple in range(order, 3 * motor.ripples + 1, order):
        centre = multiple * rough_hz
        reach = max(0.004 * centre, 2 * bin_hz)
        low, high = int((centre - reach) / step), int((centre + reach) / step) + 1
        if low < 1 or high >= len(power) - 1 or centre > 0.4 * rate_hz:
            break
        at = low + int(np.argmax(power[low:high]))
        if power[at] * multiple > best[0]:  # a high multiple tells the rate more exactly
            left, top, right = np.log(power[at - 1 : at + 2] + 1e-30)
            bend = left - 2 * top + right
            shift = float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend else 0.0
            best = (float(power[at] * multiple), (at + shift) * step / multiple)
    return best[1], 0.05 * bin_hz / order


def order_amplitude(values: Floats, rate_hz: float, hz: float) -> tuple[float, float]:
    """Amplitude at one frequency and the standard deviation of the noise beside it, in the unit of
    ``values``.

    Hann-windowed transform at exactly that frequency, its neighbours 3 to 6 bins away are the noise.
    """
    count, window = len(values), np.hanning(len(values))
    bin_hz = rate_hz / count
    aside = [offset for offset in (-6, -5, -4, -3, 3, 4, 5, 6) if hz + offset * bin_hz > bin_hz]
    # shifted down by the frequency, it is bin 0 of one transform and its neighbours are whole bins
    turned = np.exp(-2j * np.pi * (hz / rate_hz) * np.arange(count))
    lines = np.fft.fft((values - values.mean()) * window * turned)
    sizes = 2 * np.abs(lines[[0, *aside]]) / window.sum()
    return float(sizes[0]), float(np.sqrt(np.median(np.square(sizes[1:]))) / math.sqrt(math.log(2)))


def one_turn(values: Floats, rate_hz: float, hz: float) -> tuple[Floats, Floats]:
    """Mean of the signal over all turns at each angle: degrees (cell centres), mean per cell."""
    angle = (np.arange(len(values)) * (hz / rate_hz)) % 1.0
    cell = np.minimum((angle * TURN_CELLS).astype(int), TURN_CELLS - 1)
    total = np.bincount(cell, values, TURN_CELLS)
    number = np.bincount(cell, minlength=TURN_CELLS)
    mean = np.where(number > 0, total / np.maximum(number, 1), math.nan)
    return (np.arange(TURN_CELLS) + 0.5) * 360 / TURN_CELLS, mean
