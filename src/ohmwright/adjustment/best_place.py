"""The place of the trim at which the output was seen, or is expected, nearest to the target."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot
from typing import Literal

from ohmwright.estimation.mixture import Mixture

_CLEARLY_BETTER_SDS = 1.64
"""A place is clearly better if its error is smaller by more standard deviations of the difference
than this: 95 % one-sided."""

_COVERAGE = 2.0
"""Standard uncertainties that are stated of an error."""
_VAGUE_RATIO = 3.0
"""A look is vague, and is not kept, from this many times the uncertainty of what is known on."""


@dataclass(frozen=True)
class Place:
    """A position of the trim, from its start, and the output seen or expected there.

    `counts` include those of coarse presses at their nominal size, `coarse` is the number of these;
    `error`: distance of the output from the target, without sign, and its standard uncertainty
    `sd`, both relative to the target; `found`: how it is known, "was measured" by an activation
    that was to confirm there, "was seen" by one that adjusts.
    """

    counts: int
    coarse: int
    error: float
    sd: float
    found: Literal["was measured", "was seen", "is expected"] = "was seen"

    def is_better_than(self, other: Place) -> bool:
        """Whether the output was clearly nearer to the target here."""
        return other.error - self.error > _CLEARLY_BETTER_SDS * hypot(self.sd, other.sd)

    def contradicts(self, known: Place) -> bool:
        """Whether what is `known` of the place can hardly be true beside this."""
        return abs(self.error - known.error) > _COVERAGE * hypot(self.sd, known.sd)

    def together_with(self, known: Place) -> Place:
        """This by all that is `known`: each counts by its certainty."""
        weight, other = 1 / self.sd**2, 1 / known.sd**2
        error = (weight * self.error + other * known.error) / (weight + other)
        return replace(self, error=error, sd=(weight + other) ** -0.5)

    def was_measured_within(self, tolerance: float) -> bool:
        """Whether the output was measured to be clearly nearer to the target than `tolerance`."""
        within = tolerance - self.error > _CLEARLY_BETTER_SDS * self.sd
        return within and self.found == "was measured"


class PlacesSeen:
    """What is known of each place: the latest measurement, else look, else a prediction.

    A look is one estimate of the output while the trim moves, by the model; it is not kept where it
    is vague, as it is of a unit that is still warm, and what is known may be true all the same. A
    measurement that is less certain than what is known of the place, and agrees with it, is taken
    together with it. `tolerance`: of the point, relative.
    """

    def __init__(self, tolerance: float) -> None:
        self._tolerance = tolerance
        self._places: dict[tuple[int, int], Place] = {}

    def note_measured(self, counts: int, coarse: int, output: Mixture) -> None:
        """Add what a whole activation measured: the output free of lag, relative to the target."""
        place = Place(counts, coarse, abs(1 - output.mean), output.sd, "was measured")
        known = self._places.get((counts, coarse))
        if known is not None and known.sd < place.sd and not place.contradicts(known):
            place = place.together_with(known)
        self._places[counts, coarse] = place

    def note_seen(self, counts: int, coarse: int, output: Mixture) -> None:
        """Add a look: the output free of lag, relative to the target, at a position."""
        place = Place(counts, coarse, abs(1 - output.mean), output.sd)
        known = self._places.get((counts, coarse))
        if known is None:
            self._places[counts, coarse] = place
        elif known.found != "was measured":
            is_vague = place.sd >= _VAGUE_RATIO * known.sd
            if not is_vague or place.contradicts(known):
                self._places[counts, coarse] = place

    def expect(self, counts: int, coarse: int, output: Mixture) -> None:
        """Add the output that is predicted for a place, if nothing is known of the place yet."""
        place = Place(counts, coarse, abs(1 - output.mean), output.sd, "is expected")
        self._places.setdefault((counts, coarse), place)

    def forget_all_but_start(self) -> None:
        """Forget what rests on presses that turned out to be others than believed."""
        self._places = {at: place for at, place in self._places.items() if at == (0, 0)}

    def forget_what_models_say(self) -> None:
        """Forget what rests on a gain that turned out to be another than believed."""
        self._places = {
            at: place
            for at, place in self._places.items()
            if at == (0, 0) or place.found == "was measured"
        }

    def best(self) -> Place | None:
        """The place to leave the trim at; None: its start, no other being surely better.

        A place that was measured well in tolerance is left for no start that was only looked at: a
        look at an output that was still rising may be far off.
        """
        start = self._places.get((0, 0))
        places = [place for at, place in self._places.items() if at != (0, 0)]
        if start is None or not places:
            return None
        places.sort(key=lambda place: place.error + place.sd)
        if places[0].is_better_than(start):
            return places[0]
        if start.found == "was measured":
            return None
        return next((p for p in places if p.was_measured_within(self._tolerance)), None)

    def description(self) -> str:
        """Where the trim is left and why there."""
        best = self.best()
        if best is None:
            return "the trim is back at its start: nowhere was the output surely nearer the target"
        return (
            f"the trim is left {best.counts:+d} counts from its start, where the output "
            f"{best.found} nearest the target, {best.error / self._tolerance:.2f} ± "
            f"{_COVERAGE * best.sd / self._tolerance:.2f} tolerances off"
        )
