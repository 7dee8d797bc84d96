"""Nothing of the trade's detail is left out of the passenger job: each thing that is done, in its order."""

from __future__ import annotations

from itertools import pairwise

import pytest

from handsfree.procedure._model import Caution, Choice, Inspect, Reading, read_procedure
from handsfree.session import packaged_procedure

PASSENGER = read_procedure(packaged_procedure("passenger-one-piece"))

#: (what, the step, words of its question, of a condition or of what is read back). The order is the order of work.
DETAIL = [
    ("who works", "technician", "badge number"),
    ("work order", "work-order", "Work order"),
    ("vehicle", "vehicle", "identification number"),
    ("wheel position", "wheel-position", "driver or passenger side, front or rear"),
    ("tire designation", "tire-size", "Tire size"),
    ("date code", "date-code", "Date code"),
    ("tread depth, lowest", "tread-depth", "lowest groove"),
    ("tread depth, highest", "tread-highest", "highest groove"),
    ("pressure as found", "pressure-found", "as found"),
    ("sensor lamp before", "sensor-lamp-before", "lamp before the work"),
    ("leak search outside", "find-leaks", "Soap tread, valve and rim edge"),
    ("marking", "find-leaks", "Mark every leak and the valve position"),
    ("safe deflation", "deflate-first", "Remove the valve core and let all air out"),
    ("demount", "demount", "Demount the tire"),
    ("spreader", "demount", "on the spreader"),
    ("inside and outside", "inspect", "Inspect inside and outside"),
    ("beads", "inspect", "Beads: wire broken"),
    ("sidewalls", "inspect", "Sidewalls: cut, cracked"),
    ("tread", "inspect", "Tread: separated"),
    ("liner", "inspect", "Liner: wrinkles, dust or rings"),
    ("earlier repairs", "repairs-there", "repaired before"),
    ("object out", "remove-object", "Pull the object with pliers"),
    ("injury measured", "injury-size", "Injury size inside"),
    ("its angle", "injury-angle", "Injury angle"),
    ("its place", "injury-edge", "Distance from the tread edge"),
    ("every injury", "another-injury", "another injury"),
    ("disposition", "disposition", "Repairable"),
    ("liner cleaned and scraped, again", "clean-liner", "Clean and scrape the liner round it, twice"),
    ("outline", "outline", "template used, or drawn freehand"),
    ("drill inside", "drill-inside", "from the inside, along the injury, clockwise"),
    ("drill outside", "drill-outside", "from the outside, along the injury, clockwise"),
    ("buffer speed", "buffer-speed", "r p m"),
    ("buff", "buff", "Buff the whole outline"),
    ("texture", "texture", "even velvet"),
    ("brush, vacuum, no compressed air", "vacuum", "Brush and vacuum all dust. No compressed air"),
    ("temperature", "air-temperature", "Air temperature"),
    ("humidity", "air-humidity", "Humidity"),
    ("cement the injury", "cement-injury", "into the injury, all the way through"),
    ("cement the liner", "cement", "thin and even"),
    ("drying", "drying", "Let the cement dry"),
    ("tack", "tack", "tacky"),
    ("film and gum", "keep-clean", "Peel the film without touching the gum"),
    ("bead relaxed", "keep-clean", "bead is relaxed"),
    ("film off", "place-unit", "Film off the gum"),
    ("pull and seat", "place-unit", "Pull the stem through from inside until the patch seats"),
    ("stitch", "stitch", "from the center out"),
    ("cap film off", "films-off", "Cap film off"),
    ("trim", "trim-height", "Height above the tread"),
    ("seal", "seal-edge", "Seal the patch edge and all over-buffed liner"),
    ("inspect inside", "inspect-repair", "Look inside"),
    ("every injury repaired", "all-repaired", "every injury is repaired"),
    ("bead seating", "bead-seating", "Stop at forty"),
    ("mount and seat", "seating-pressure", "Lubricate, mount, and seat the beads"),
    ("inflate: first pressure", "set-pressure", "Set the pressure"),
    ("leak test", "leak-hold", "Leak test"),
    ("soap", "soap", "Soap the repair, rim edges and valve"),
    ("second pressure", "leak-end", "Pressure now"),
    ("balance", "balance", "balance the wheel"),
    ("the maker's torque", "torque-target", "vehicle's maker"),
    ("torque in sequence", "torque-applied", "in that order"),
    ("second round", "second-round", "every nut once more"),
    ("relearn", "relearn", "Relearn the pressure sensors"),
    ("lamp after", "sensor-lamp-after", "lamp after the work"),
    ("re-check distance", "recheck", "Distance to the torque check"),
    ("tools, area, hand-over", "hand-over", "Tools back, area clean. Hand over"),
]


def words(step_id: str) -> str:
    step = PASSENGER.at(step_id)
    more = [c.ask for c in step.conditions] if isinstance(step, Inspect) else []
    more += [step.read_back] if isinstance(step, Caution) else []
    return " ".join([step.ask, *more])


@pytest.mark.parametrize(("step", "said"), [d[1:] for d in DETAIL], ids=[d[0] for d in DETAIL])
def test_it_is_asked_for(step: str, said: str) -> None:
    assert said.lower() in words(step).lower()


def test_in_the_order_of_work() -> None:
    order = [step.id for step in PASSENGER.step]
    places = [order.index(step) for _, step, _ in DETAIL]
    assert all(one <= other for one, other in pairwise(places))


def test_no_way_to_return_to_service_leaves_one_out() -> None:
    """Without any of these steps the ending that releases the tire can't be come to."""
    for _, step, _ in DETAIL:
        assert "returned" not in PASSENGER.reached_from(PASSENGER.step[0].id, without=step), step


def test_advice_that_belongs_to_a_step_is_given_there() -> None:
    for step, advice in (
        ("patch-size", "unit-size"),
        ("refit-wheel", "star-order"),
        ("second-round", "star-order"),
        ("hand-over", "recheck"),
    ):
        assert advice in PASSENGER.at(step).advice


def test_what_the_job_rests_on_is_confirmed() -> None:
    """A misheard "no more injuries" would leave a hole open, a misheard "it is tacky" wet cement under the patch."""
    loose = {step.id for step in PASSENGER.step if isinstance(step, Choice) and not step.confirm}
    assert loose == {"outline", "all-repaired"}  # nothing hangs from the one, the other is counted
    assert all(isinstance(PASSENGER.at(s), Reading | Choice) for s in loose)
