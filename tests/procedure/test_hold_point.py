"""Hold points: the disposition names every reason; only a supervisor turns reasons into concessions."""

from __future__ import annotations

import pytest

from handsfree import limits
from handsfree.procedure import Answer, Mode, Start

from .driving import BADGE, DISPOSE, ENDINGS, FOUND, HEAD, LOOK, ORDER, SIZE, Drive, do, whole

TO_BOSS = HEAD + LOOK + SIZE + DISPOSE.replace('refused = "scrap"', 'refused = "boss"') + do()
TEXT = TO_BOSS + do("last", to="returned") + BADGE.replace("on = {", 'on = { released = "act",') + ENDINGS
BAD = (FOUND, "affirmative", FOUND, "affirmative", FOUND, "affirmative", "seven", "affirmative")


def test_refused_with_every_reason() -> None:
    drive = Drive(whole(LOOK, SIZE, DISPOSE))
    drive.say(*BAD, "out of limits", "affirmative")
    line = drive.records("hold_point")[0]
    assert line["outcome"] == "refused"
    size = limits.judge("injury.size.max", drive.state.facts).reason
    assert line["reasons"] == ("bead damage", "run-flat damage", "tread separation", size)
    assert "bead damage; run-flat damage; tread separation; Injury size: 7 mm; most 6 mm" in drive.said()
    assert drive.records("close")[0]["reasons"] == line["reasons"]
    assert drive.said().count("Not released.") == 1


def test_released_with_its_sources() -> None:
    drive = Drive(whole(SIZE, DISPOSE))
    drive.say("five", "affirmative")
    line = drive.records("hold_point")[0]
    assert (line["outcome"], line["reasons"]) == ("released", ())
    assert limits.judge("injury.size.max", drive.state.facts).source in line["sources"]
    assert "Repairable. Released." in drive.spoken()


def test_a_reason_is_found_even_where_no_step_judged_it() -> None:
    drive = Drive(
        whole(SIZE.replace('limits = ["injury.size.max"]', 'no_limit = "judged at the end"'), DISPOSE)
    )
    drive.say("seven", "affirmative")
    assert drive.state.outcome == "scrap"
    assert len(drive.state.reasons) == 1


def test_a_warning_lets_it_pass_but_is_an_exception() -> None:
    angle = SIZE.replace('limits = ["injury.size.max"]', 'no_limit = "judged at the end"')
    angle = (
        angle.replace("injury.size", "injury.angle").replace("length_mm", "angle").replace('"mm"', '"deg"')
    )
    drive = Drive(whole(angle, DISPOSE))
    drive.say("three zero", "affirmative")
    assert drive.step == "last"
    assert len(drive.state.exceptions) == 1


def test_what_can_not_be_judged_is_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    drive = Drive(
        whole(SIZE.replace('limits = ["injury.size.max"]', 'no_limit = "judged at the end"'), DISPOSE)
    )
    judge = limits.judge

    def fails(rule: str, *rest: object) -> limits.Verdict:
        if rule == "injury.size.max":
            raise limits.LimitsError("table torn out")
        return judge(rule, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(limits, "judge", fails)
    drive.say("five", "affirmative")
    assert drive.state.reasons == ("table torn out",)
    assert drive.state.outcome == "scrap"


def test_a_supervisor_turns_reasons_into_concessions_by_name() -> None:
    drive = Drive(TEXT)
    drive.say(*BAD, "out of limits", "affirmative")
    assert drive.step == "boss"
    reasons = drive.state.reasons
    drive.say("supervisor release four two")
    assert drive.said() == "Released by badge four two. Affirmative?"
    assert drive.state.reasons == reasons
    drive.say("affirmative")
    assert drive.records("hold_point")[-1]["by"] == "supervisor badge 42"
    assert drive.state.reasons == ()
    assert [e for e in drive.state.exceptions if e.startswith("concession")] == [
        f"concession by badge 42: {reason}" for reason in reasons
    ]
    drive.say("completed", "completed")
    assert drive.state.outcome == "returned"
    exceptions = drive.records("close")[0]["exceptions"]
    assert all(any(reason in text for text in exceptions) for reason in reasons)


def test_a_release_that_is_not_confirmed_releases_nothing() -> None:
    drive = Drive(TEXT)
    drive.say(*BAD, "out of limits", "affirmative", "supervisor release four two", "negative")
    assert drive.said() == "Not recorded. Supervisor?"
    assert len(drive.state.reasons) == 4
    drive.say("supervisor release", "affirmative", "completed")
    assert (drive.step, len(drive.state.reasons)) == ("boss", 4)


def test_a_release_without_a_badge_is_refused() -> None:
    drive = Drive(whole(BADGE))
    drive.feed(Answer(drive.at, "supervisor release", "answer", (("answer", "release"),)))
    assert drive.records("refused")[0]["reason"] == "the answer has no badge"


def test_nothing_else_erases_a_reason() -> None:
    drive = Drive(TEXT)
    drive.say(*BAD, "out of limits", "affirmative")
    reasons = drive.state.reasons
    drive.say("say again", "hold work", "resume work", "what is the limit", "time left", "rhubarb", "go back")
    assert drive.state.reasons == reasons
    drive.say("five", "affirmative")
    assert drive.step == "boss"  # re-measured inside, but what was accepted stands
    assert drive.state.reasons == reasons
    drive.say("stop work")
    drive.power_cut(10)
    assert drive.state.reasons == reasons
    assert drive.mode is Mode.ASKING


def test_the_ending_says_the_disposition_and_why() -> None:
    drive = Drive(whole(LOOK + 'on = { found = "scrap" }\n'))
    drive.say(*BAD[:6])
    assert drive.spoken()[-1] == (
        "Scrapped. Disposition: scrap. Reasons: bead damage; run-flat damage; tread separation."
    )


def test_a_rule_that_asks_for_more_than_is_known_is_left_out() -> None:
    """The date code is known, the day is not: no age, and no reason against the tire."""
    code = ORDER.replace("job.work_order", "tire.date_code")
    drive = Drive(whole(code, DISPOSE), start=False)
    drive.feed(Start(drive.at))
    drive.say("three six two three", "affirmative")
    assert drive.records("hold_point")[0]["outcome"] == "released"


def test_a_supervisor_rejects_by_voice() -> None:
    drive = Drive(TEXT)
    drive.say(*BAD, "out of limits", "affirmative", "supervisor rejection four two")
    assert drive.said() == "Rejected by badge four two. Affirmative?"
    before = drive.state.reasons
    drive.say("affirmative")
    assert (drive.records("hold_point")[-1]["outcome"], drive.state.outcome) == ("refused", "scrap")
    assert drive.state.reasons[:-1] == before
    assert "rejected by supervisor badge 42" in drive.state.reasons[-1]


def test_no_tire_is_returned_over_an_open_reason() -> None:
    """Here nothing but the ending itself stands between a found defect and the road."""
    text = whole(LOOK.replace('found = "scrap"', 'found = "last"')).replace(
        'id = "returned"', 'id = "returned"\nreleased = true'
    )
    drive = Drive(text)
    drive.say(FOUND, "affirmative", "nothing found", "nothing found", "completed")
    close = drive.records("close")[0]
    assert (close["outcome"], close["disposition"]) == ("not-released", "not released, reasons open")
    assert "bead damage" in drive.said()
