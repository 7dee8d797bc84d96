"""Who releases and who works: a supervisor's badge and code word, and the technician who takes over.

The machine never knows a code word. It arms a placeholder that the session fills from the shop's file, and is
told no more than right or wrong; whose badge it is comes in with the answer too. So a record replays without
the shop's file, and no record can give a code word away.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.procedure._events import Answer
from handsfree.procedure._flow import ask_badge, go
from handsfree.procedure._misses import hold, miss, rearm
from handsfree.procedure._state import Mode, Pending
from handsfree.procedure._turn import Refusal, Turn
from handsfree.procedure._words import plainly, spoken

__all__ = ["badge_read_back", "release_asked", "released", "sign", "signed", "take_code"]

MOST_WRONG_CODES = 3


def _shop(turn: Turn) -> bool:
    """Whether the job works by a shop file: then every badge must be in it."""
    return "shop" in dict(turn.state.job)


# -- a supervisor at a hold point ---------------------------------------------------------------------


def release_asked(turn: Turn, answer: Answer) -> Pending | None:
    """A release or a rejection to be read back; None when the badge is no supervisor's here."""
    slots = dict(answer.slots)
    choice, badge = slots.get("answer", ""), slots.get("badge", "")
    if choice not in ("release", "reject"):
        raise Refusal(f"{choice!r} is neither a release nor a rejection")
    if not badge:
        raise Refusal("the answer has no badge")
    value, holder = spoken(badge), slots.get("supervisor", "")
    if turn.state.technician.endswith(f"badge {badge}"):
        told = turn.prompt("own_badge", value=value, ask=turn.step.ask)
        miss(turn, answer.text, "the badge of whoever does the work", say=told, held="held_release")
        return None
    if badge in turn.state.worked and "worked_here" in turn.book.prompts.templates:
        told = turn.prompt("worked_here", value=value, ask=turn.step.ask)
        reason = "the badge of somebody who did some of the work"
        miss(turn, answer.text, reason, say=told, held="held_release")
        return None
    if _shop(turn) and not holder:
        told = turn.prompt("not_supervisor", value=value, ask=turn.step.ask)
        miss(turn, answer.text, "not a supervisor's badge", say=told, held="held_release")
        return None
    if choice == "release":
        text = turn.prompt("read_back_release", value=value)
    else:
        text = turn.prompt("read_back_reject", value=value)
    return Pending(choice, answer.text, text, badge, holder=holder)


def released(turn: Turn, pending: Pending) -> None:
    """The badge is confirmed: ask for its code word, or decide at once where no shop file says one."""
    if not _shop(turn):
        _decide(turn, pending, "not verified")
        return
    turn.set(
        mode=Mode.PROVING,
        misses=0,
        pending=replace(pending, spoken=turn.prompt("code_word", name=pending.holder)),
    )
    ask_badge(turn)


def take_code(turn: Turn, answer: Answer) -> None:
    """Right or wrong, as the session found. The third wrong word holds the job."""
    pending = turn.state.pending
    assert pending is not None
    outcome = dict(answer.slots).get("code", "")
    if outcome not in ("right", "wrong"):
        raise Refusal(f"{outcome!r} is neither right nor wrong")
    wrong = 0 if outcome == "right" else turn.state.wrong_codes + 1
    turn.set(wrong_codes=wrong)
    turn.record("code", step=turn.state.step, badge=str(pending.value), outcome=outcome, count=str(wrong))
    if outcome == "right":
        turn.set(pending=None)
        _decide(turn, pending, "code word")
        return
    turn.chime("refused")
    if wrong < MOST_WRONG_CODES:
        turn.say(turn.prompt("code_wrong", ask=pending.spoken))
        rearm(turn)
        return
    turn.exception(f"{turn.state.step}: {wrong} wrong code words for badge {pending.value}, put on hold")
    # Whoever goes on begins with the badge again.
    turn.set(mode=Mode.ASKING, pending=None, misses=0, wrong_codes=0)
    hold(turn, turn.prompt("held_code"))


def _decide(turn: Turn, pending: Pending, verified: str) -> None:
    step, badge = turn.state.step, str(pending.value)
    outcome = "released" if pending.kind == "release" else "refused"
    turn.record(
        "hold_point",
        step=step,
        by=f"supervisor badge {badge}",
        name=pending.holder,
        verified=verified,
        outcome=outcome,
    )
    doubt = ", not verified" if verified == "not verified" else ""
    if outcome == "refused":
        turn.reason(turn.prompt("rejected_by", step=step, value=badge))
        turn.chime("refused")
        refused = turn.prompt("refused", reasons="; ".join(map(plainly, turn.state.reasons)))
        turn.say(refused, "verdict", whole=True)
        go(turn, outcome)
        return
    turn.exception(f"{step}: released by supervisor badge {badge}{doubt}")
    found = {f.reason for f in turn.state.findings}
    for reason in turn.state.reasons:
        # What was corrected since is no defect that is put up with.
        conceded = reason in found or not turn.book.procedure.corrected
        what = "concession by" if conceded else "finding corrected, released by"
        turn.exception(f"{what} badge {badge}: {reason}")
    turn.set(reasons=(), findings=(), withdrawn=())
    turn.chime("accepted")
    turn.say(turn.prompt("released"), "verdict")
    go(turn, outcome)


# -- another technician -------------------------------------------------------------------------------


def sign(turn: Turn, answer: Answer) -> bool:
    """The new technician's badge, or the answer to its read-back. True when it is confirmed."""
    pending, slots = turn.state.pending, dict(answer.slots)
    if "badge" in slots:
        if pending is not None:
            turn.record("not_confirmed", step=turn.state.step, heard=pending.heard, instead=answer.text)
        turn.set(pending=None)
        _read_back_badge(turn, answer)
        return False
    if pending is None or "answer" not in slots:
        raise Refusal("the answer has no badge")
    if slots["answer"] == "yes":
        return True
    turn.record("not_confirmed", step=turn.state.step, heard=pending.heard, instead=answer.text)
    turn.set(pending=None, misses=0)
    ask_badge(turn, turn.prompt("negative", ask=""))
    return False


def _read_back_badge(turn: Turn, answer: Answer) -> None:
    pending = badge_read_back(turn, "technician", answer, turn.prompt("badge"))
    if pending is not None:
        turn.set(pending=pending, misses=0)
        ask_badge(turn)


def badge_read_back(turn: Turn, kind: str, answer: Answer, ask: str) -> Pending | None:
    """A technician's badge number to be read back, with the name that belongs to it; None (a miss, and ``ask`` said
    again) when the shop does not know it."""
    slots = dict(answer.slots)
    badge, name = slots["badge"], slots.get("technician", "")
    if _shop(turn) and not name:
        told = turn.prompt("not_technician", value=spoken(badge), ask=ask)
        miss(turn, answer.text, "not a badge of this shop", say=told, held="held_badge")
        return None
    if name:
        text = turn.prompt("read_back_named", value=spoken(badge), name=name)
    else:
        text = turn.prompt("read_back_badge", value=spoken(badge))
    return Pending(kind, answer.text, text, badge, holder=name)


def signed(turn: Turn, pending: Pending) -> str:
    """This technician works from here on. Returns the name to greet, or the badge number spoken."""
    badge = str(pending.value)
    now = f"{pending.holder}, badge {badge}" if pending.holder else f"badge {badge}"
    named = dict(turn.state.job).get("technician", "")
    if pending.kind == "reading" and pending.holder in ("", named):
        named = ""  # whoever the job was begun for signs in: nobody is taken over from
    was = turn.state.technician or named
    turn.record("technician", step=turn.state.step, was=was, now=now, badge=badge, name=pending.holder)
    turn.set(technician=now, worked=(*turn.state.worked, badge))
    return pending.holder or spoken(badge)
