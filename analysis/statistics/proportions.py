"""A share and how far it can be trusted: 4 of 20 is not 40 of 200."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `of`, with a two-sided interval; all None where there was nothing to count."""

    count: int
    of: int
    share: float | None
    low: float | None
    high: float | None

    def as_json(self) -> dict[str, float | int | None]:
        """The share and its interval as plain numbers, 0 to 1."""
        return {
            "count": self.count,
            "of": self.of,
            "share": self.share,
            "low": self.low,
            "high": self.high,
        }


def wilson(count: int, of: int, confidence: float = 0.95) -> Share:
    """Wilson's score interval for `count` of `of`, without continuity correction.

    It takes each one as independent of the others, which meals of one animal are not: it says how
    small the numbers are, and no test is built on it.

    Source: Wilson 1927, J. Am. Stat. Assoc. 22:209; method 3 of Newcombe 1998, Stat. Med. 17:857.
    Raises ValueError for counts or a confidence that cannot be.
    """
    if not 0 <= count <= of:
        raise ValueError(f"{count} of {of} cannot be counted")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence lies between 0 and 1, not at {confidence}")
    if of == 0:
        return Share(0, 0, None, None, None)
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share = count / of
    centre = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    # At the ends the formula gives 0 and 1 but for rounding.
    low = 0.0 if count == 0 else centre - half
    high = 1.0 if count == of else centre + half
    return Share(count, of, share, low, high)
