"""The measurement of confusions: its curve, its pairs, and that it really listens."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handsfree.bench._confusion_tables import counts, docs_lines, threshold
from handsfree.bench._confusions import Trial, jobs, measure
from handsfree.bench._curve import CEILING, Curve, bin_of, binned, fit, rank_correlation
from handsfree.bench._pairs import BIN, HALVES, LONGEST, Pair, apart, known_pairs, planted, procedure_pairs
from handsfree.bench._voices import voices
from handsfree.bench.confusions import main
from handsfree.procedure._sounds import TOO_ALIKE

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"


# -- the curve --------------------------------------------------------------------------------------


@pytest.mark.parametrize("planted_curve", [Curve(3.0, -2.0), Curve(1.0, -1.2), Curve(6.0, -3.0)])
def test_the_fit_finds_a_planted_curve(planted_curve: Curve) -> None:
    rng = np.random.default_rng(7)
    distance = rng.uniform(0.5, 6.0, 3000)
    said = rng.integers(6, 24, 3000)
    confused = rng.binomial(said, planted_curve.rate(distance))
    found = fit(distance, confused, said)
    assert found.start == pytest.approx(planted_curve.start, rel=0.1)
    assert found.slope == pytest.approx(planted_curve.slope, rel=0.1)
    assert found.reaches(0.01) == pytest.approx(planted_curve.reaches(0.01), rel=0.05)


def test_a_curve_is_where_it_says_it_is() -> None:
    curve = Curve(3.0, -2.0)
    assert curve.rate(curve.reaches(0.01)) == pytest.approx(0.01)
    assert float(curve.rate(-20.0)) == pytest.approx(CEILING)
    assert Curve(3.0, 0.5).reaches(0.01) == np.inf
    with pytest.raises(ValueError, match=r"between 0 and 0\.5"):
        curve.reaches(0.5)


@pytest.mark.parametrize("confused", [[0, 0, 0, 0], [9, 9, 0, 0], [0, 0, 9, 9]])
def test_the_fit_stays_finite_without_an_error_or_with_nothing_else(confused: list[int]) -> None:
    curve = fit([0.5, 1.0, 3.0, 4.0], confused, [18] * 4)
    assert np.isfinite([curve.start, curve.slope]).all()


def test_rank_correlation_of_the_textbook_example() -> None:
    """Ten people's IQ and hours of television, the usual worked example: -29/165."""
    iq = [106, 100, 86, 101, 99, 103, 97, 113, 112, 110]
    hours = [7, 27, 2, 50, 28, 29, 20, 12, 6, 17]
    assert rank_correlation(iq, hours) == pytest.approx(-29 / 165)


def test_equal_values_share_their_mean_rank() -> None:
    """Ranks 1.5 1.5 3 4 against 1 2 3 4: Pearson's of these is sqrt(0.9)."""
    assert rank_correlation([5, 5, 7, 9], [1, 2, 3, 4]) == pytest.approx(0.9**0.5)
    assert rank_correlation([1, 1, 1], [1, 2, 3]) == 0.0


def test_a_bin_holds_its_upper_bound() -> None:
    assert [bin_of(d, 0.5) for d in (0.0, 0.5, 0.6, 1.0, 0.3 + 0.3 + 0.4, 5.9)] == [0, 0, 1, 1, 1, 11]
    (row,) = binned([0.6, 1.0], [3, 1], [10, 10], 0.5)
    assert (row.low, row.high, row.pairs, row.rate) == (0.5, 1.0, 2, 0.2)


# -- the pairs --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pairs() -> list[Pair]:
    return planted(3, 2)


def test_every_distance_is_planted_in_both_halves_and_no_word_is_in_both(pairs: list[Pair]) -> None:
    known = set(known_pairs())
    words: dict[str, set[str]] = {}
    for half in HALVES:
        own = [p for p in pairs if p.part == half and p not in known]
        where = [bin_of(apart(p), BIN) for p in own]
        assert [where.count(n) for n in range(round(LONGEST / BIN))] == [3] * 8 + [2] * 4
        words[half] = {w for p in own for w in set(p.one.split()) ^ set(p.other.split())}
    assert not words["tune"] & words["report"]


def test_the_pairs_of_the_procedures_are_those_armed_together_and_of_different_meaning() -> None:
    pairs = {(p.one, p.other) for p in procedure_pairs()}
    assert ("driver front", "driver rear") in pairs
    assert ("driver front", "driver side front") not in pairs  # two ways to say one thing
    assert min(apart(Pair(*p, "procedure")) for p in pairs) >= TOO_ALIKE  # handsfree check has proved them


def test_a_planted_pair_is_said_by_its_own_half_only() -> None:
    speakers = {"tune": ("a", "b"), "report": ("c",)}
    pairs = [Pair("x", "y", "tune"), Pair("x", "z", "procedure"), Pair("y", "z", "procedure")]
    work = jobs(pairs, speakers, (40.0, 20.0))
    assert {v for (v, _), own in work.items() if any(p.part == "tune" for p, _ in own)} == {"a", "b"}
    assert sum(len(own) for own in work.values()) == 2 * 2 * 2 + 2 * 2 * 2
    assert not set(voices("tune")) & set(voices("report"))


# -- listening --------------------------------------------------------------------------------------


def test_twins_are_confused_more_often_than_words_that_differ() -> None:
    twins, apart_words = Pair("eighteen", "eighty", "tune"), Pair("crown", "shoulder", "tune")
    said = 2 * [(pair, phrase) for pair in (twins, apart_words) for phrase in (pair.one, pair.other)]
    trials = list(measure({("gmw/en", 0.0): said, ("gmw/en", 5.0): said}))
    assert len(trials) == 2 * len(said)
    confused = {
        pair.one: sum(t.confused for t in trials if t.one == pair.one) for pair in (twins, apart_words)
    }
    assert confused["eighteen"] > confused["crown"] == 0
    understood = [t.heard == t.said for t in trials if t.one == "crown"]
    assert sum(understood) > len(understood) / 2  # not confused because heard, not because unheard


# -- the tables -------------------------------------------------------------------------------------


def heard(pairs: list[Pair], level: float, rate: float) -> list[Trial]:
    """Invented: pairs under 2 phones are confused at ``rate``, farther ones never."""
    rng = np.random.default_rng(3)
    return [
        Trial(p.one, p.other, p.part, p.one, "v", level, p.other if wrong else p.one, True)
        for p in pairs
        for wrong in rng.random(8) < (rate if apart(p) < 2 else 0.0)
    ]


def test_the_tables_come_from_what_was_heard(pairs: list[Pair], tmp_path: Path) -> None:
    trials = heard(pairs, 20.0, 0.4)
    found = counts(trials, "report", 20.0)
    near, far = found.total(0.0, 2.0), found.total(2.0, 99.0)
    assert far[0] == 0 < near[0]
    assert near[1] + far[1] == 8 * sum(p.part == "report" for p in pairs)
    at, (low, high) = threshold(found, 0.01, times=20)
    assert 1.5 < low <= at <= high < 3.0
    lines = docs_lines(trials)
    assert any(line.startswith("| 5.5 to 6.0 | 2 | 0.0 |") for line in lines)
    assert any(f"{near[0]} of {near[1]}" in line for line in lines)


def test_a_file_that_is_no_measurement_is_told(tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match="not a file written by --json"):
        main(["--read", str(DEVELOPERS)])
    with pytest.raises(SystemExit, match="No such file"):
        main(["--read", str(tmp_path / "none.json")])


def test_the_docs_name_the_threshold_in_force() -> None:
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert f"at least {TOO_ALIKE:g} apart" in text  # generated with the threshold in force
    assert "python -m handsfree.bench confusions" in text
