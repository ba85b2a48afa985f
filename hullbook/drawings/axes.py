"""Turning values into places along a drawing, with ticks at round values."""

from dataclasses import dataclass
from math import ceil, floor, log10


@dataclass(frozen=True)
class Axis:
    """Values from `low` to `high` laid along a drawing from `at_low` to `at_high`."""

    low: float
    high: float
    at_low: float
    at_high: float

    def at(self, value: float) -> float:
        return self.at_low + (value - self.low) / (self.high - self.low) * (self.at_high - self.at_low)


def round_step(span: float, about: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts `span` into about so many."""
    raw = span / about
    power = 10.0 ** floor(log10(raw))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * (1 - 1e-9))


def nice_ticks(low: float, high: float, about: int = 6) -> list[float]:
    """Round values from at or under `low` to at or over `high`, evenly stepped; a lone value gets room round it."""
    if high - low < 1e-9 * max(1.0, abs(low), abs(high)):
        room = max(1.0, abs(low) * 0.1)
        low, high = low - room, high + room
    step = round_step(high - low, about)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(number * step, 12) for number in range(first, last + 1)]


def tick_words(ticks: list[float]) -> list[str]:
    """The ticks as figures, all to the decimals their step needs, with a true minus."""
    step = ticks[1] - ticks[0]
    places = max(0, -floor(log10(step) + 1e-9))
    return [f"{tick:.{places}f}".replace("-", "−") for tick in ticks]
