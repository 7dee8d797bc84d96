"""One technician is one name, whatever was typed at the start."""

from __future__ import annotations

import pytest

from handsfree.record import crew, one_name_each, tell

READING = {"kind": "reading", "measurand": "job.technician", "step": "technician"}


def opened(name: str = "") -> dict[str, object]:
    return {"kind": "open", "technician": name}


def sign_in(badge: str, name: str = "", was: str = "") -> dict[str, object]:
    now = f"{name}, badge {badge}" if name else f"badge {badge}"
    return {"kind": "technician", "step": "technician", "was": was, "now": now, "badge": badge, "name": name}


def reading(badge: str, record: int, replaces: int | None = None) -> dict[str, object]:
    return {**READING, "value": badge, "record": record, "replaces": replaces}


WORK = {"kind": "inspect", "step": "inspect", "outcome": "clear"}


@pytest.mark.parametrize(
    ("lines", "worked"),
    [
        ([opened("Mara"), sign_in("17"), reading("17", 1), WORK], ["badge 17"]),
        ([opened(), sign_in("17"), reading("17", 1), WORK], ["badge 17"]),
        ([opened("Mara"), sign_in("17", "Mara L", was="Mara"), reading("17", 1)], ["Mara L, badge 17"]),
        ([opened("Mara"), WORK], ["Mara"]),
        ([opened(), WORK], []),
        (
            [opened("Mara"), sign_in("17"), reading("17", 1), WORK, sign_in("22", was="badge 17"), WORK],
            ["badge 17", "badge 22"],
        ),
        # A record from before the badge was asked at the start: there the typed name is all that is known.
        ([opened("Mara"), WORK, sign_in("22", was="Mara"), WORK], ["Mara", "badge 22"]),
        # Heard wrong and corrected: badge 70 was nobody.
        (
            [
                opened("Mara"),
                sign_in("70"),
                reading("70", 1),
                {"kind": "correction", "record_no": 1},
                sign_in("17"),
                reading("17", 2, 1),
                WORK,
            ],
            ["badge 17"],
        ),
    ],
)
def test_who_worked(lines: list[dict[str, object]], worked: list[str]) -> None:
    assert crew(tell(lines)) == worked


def test_a_badge_alone_is_whoever_has_it() -> None:
    names = ["badge 17", "Mara, badge 17", "badge 22", "Ana, badge 22", "Bo, badge 22", "Mara", ""]
    assert one_name_each(names) == {name: name for name in names} | {"badge 17": "Mara, badge 17"}
