"""What a club's cases teach: closed-form results, scipy's word for the same, and nothing at all from an empty book."""

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from books import case, fill, machine, recounted
from scipy import optimize, stats

from diagnose.book import tallies
from diagnose.book.access import Book, open_book
from diagnose.book.correcting import correct
from diagnose.book.learning import (
    IMAGINED,
    Counts,
    WordCount,
    counted,
    learn,
    learned_shares,
    never_falling,
    posterior_mean,
    word_counts,
    word_share,
    word_shares,
)
from diagnose.book.removing import erase
from diagnose.book.rows import uid_of
from diagnose.case.state import CaseState, Given
from diagnose.knowledge.frequency import FREQUENCY
from diagnose.knowledge.model import Knowledge
from diagnose.planning.examine import examine
from diagnose.reasoning.learned import ANY_KIND, Learned
from diagnose.reasoning.rank import rank
from diagnose.reasoning.reason import reason
from diagnose.reasoning.tables import tables_of

UNCOUNTED = {word: WordCount() for word in FREQUENCY}


def learned_from(knowledge: Knowledge, causes: dict[str, int], kind: str = ANY_KIND, in_hand: bool = False) -> Learned:
    learned = learn(knowledge, Counts({(kind, in_hand): causes}, {}, sum(causes.values())))
    assert learned is not None
    return learned


# How common faults are.


def test_cases_move_the_prior_as_a_dirichlet_does() -> None:
    """Mean of a Dirichlet with the prior as 60 imagined cases, and with the counts added: scipy.stats.dirichlet."""
    rng = np.random.default_rng(7)
    prior = rng.dirichlet(np.ones(8))
    counts = rng.integers(0, 20, 8)
    assert posterior_mean(prior, counts, 60.0) == pytest.approx(stats.dirichlet(60 * prior + counts).mean(), abs=1e-12)


def test_the_books_share_of_a_cause_by_hand() -> None:
    """One cause in four, prior 1/4 as 60 cases, 20 cases of which 10 were it: (60 * 0.25 + 10) / 80 = 0.3125."""
    counts = np.array([10.0, 4.0, 3.0, 3.0])
    assert posterior_mean(np.full(4, 0.25), counts, 60.0)[0] == pytest.approx(0.3125)


def test_how_many_cases_the_prior_counts_as_is_what_foretells_the_counts() -> None:
    """Bayes over 60, 120, ... 7680 imagined cases with scipy.stats.dirichlet_multinomial as the likelihood."""
    rng = np.random.default_rng(9)
    prior = rng.dirichlet(np.full(12, 3.0))
    counts = rng.multinomial(70, rng.dirichlet(40 * prior))
    sizes = [60.0 * 2**k for k in range(8)]
    likelihood = np.array([stats.dirichlet_multinomial.pmf(counts, size * prior, counts.sum()) for size in sizes])
    means = np.array([stats.dirichlet(size * prior + counts).mean() for size in sizes])
    assert learned_shares(prior, counts.astype(float)) == pytest.approx(likelihood @ means / likelihood.sum(), abs=1e-12)


def test_cases_like_the_packs_move_little_and_a_fault_that_keeps_coming_moves_much() -> None:
    """A hundred causes alike: 40 different ones once each are no news; one of them six times in 40 is."""
    prior = np.full(100, 0.01)
    each_once = np.array([1.0] * 40 + [0.0] * 60)
    again = np.array([6.0] + [1.0] * 34 + [0.0] * 65)
    assert learned_shares(prior, each_once)[0] < 0.0115
    assert learned_shares(prior, again)[0] > 0.02
    assert learned_shares(prior, again)[0] < posterior_mean(prior, again, IMAGINED)[0]


def test_each_level_begins_with_what_the_wider_one_has_come_to(bench: Knowledge) -> None:
    """Club (other kinds), then kind (other machines of it), then the machine; no case counts twice."""
    order = tables_of(bench).causes
    written = tables_of(bench).how_common / tables_of(bench).how_common.sum()
    first, second = order[:2]
    counts = Counts(
        {("aeroplane", False): {first: 40}, ("helicopter", False): {second: 30}, ("helicopter", True): {first: 3}}, {}, 73
    )
    learned = learn(bench, counts)
    assert learned is not None

    def counted_as(cause: str, many: int) -> np.ndarray:
        return np.array([float(many) if one == cause else 0.0 for one in order])

    club = learned_shares(written, counted_as(first, 40))
    kind = learned_shares(club, counted_as(second, 30))
    machine_in_hand = learned_shares(kind, counted_as(first, 3))
    assert learned.weights(order, "helicopter") == pytest.approx(machine_in_hand)
    assert (learned.seen[first], learned.seen_here) == (43, {first: 3})


def test_a_machine_that_keeps_one_fault_is_believed_more_than_the_club(bench: Knowledge) -> None:
    first = tables_of(bench).causes[0]
    others = {("helicopter", False): dict.fromkeys(tables_of(bench).causes[1:], 8)}
    elsewhere = learn(bench, Counts({**others, ("aeroplane", False): {first: 3}}, {}, 35))
    here = learn(bench, Counts({**others, ("helicopter", True): {first: 3}}, {}, 35))
    assert here is not None and elsewhere is not None
    assert here.how_common["helicopter"][first] > elsewhere.how_common["helicopter"][first]


# What the words mean.


def test_uncounted_words_keep_what_is_written() -> None:
    assert word_shares(UNCOUNTED) == pytest.approx(dict(FREQUENCY))


def test_a_word_moves_as_a_beta_distribution_does() -> None:
    """Without slips: mean of a beta that began with 4 hits at the written share, scipy.stats.beta."""
    hits, misses, written = 30, 25, FREQUENCY["usually"]
    began = stats.beta(4, 4 / written - 4)
    assert began.mean() == pytest.approx(written)
    after = stats.beta(4 + hits, 4 / written - 4 + misses)
    assert word_share(written, WordCount(hits, 0.0, hits + misses), 4.0) == pytest.approx(after.mean(), abs=1e-12)


def test_slips_are_taken_off_the_hits() -> None:
    """(30 - 2 + 4) / (50 + 4 / 0.8) = 32 / 55, worked by hand."""
    assert word_share(0.8, WordCount(30, 2, 50), 4.0) == pytest.approx(32 / 55)


def test_how_many_hits_a_word_counts_as_is_what_foretells_the_hits() -> None:
    """Bayes over 4, 8, ... 512 imagined hits with scipy.stats.betabinom as the likelihood, all words together."""
    told = {"often": (20, 60), "usually": (50, 80), "nearly-always": (60, 70)}
    pooled = {**UNCOUNTED, **{word: WordCount(hits, 0.0, chances) for word, (hits, chances) in told.items()}}
    sizes = [4.0 * 2**k for k in range(8)]
    likelihood = np.ones(8)
    for word, (hits, chances) in told.items():
        share = FREQUENCY[word]
        likelihood *= [stats.betabinom.pmf(hits, chances, size, size / share - size) for size in sizes]
    for word in told:
        means = np.array([word_share(FREQUENCY[word], pooled[word], size) for size in sizes])
        assert word_shares(pooled)[word] == pytest.approx(likelihood @ means / likelihood.sum(), abs=1e-12)


def test_words_never_change_places() -> None:
    """Isotonic regression with weights: scipy.optimize.isotonic_regression."""
    rng = random.Random(3)
    for _ in range(30):
        values = [rng.random() for _ in range(6)]
        weights = [rng.uniform(1, 40) for _ in range(6)]
        wanted = optimize.isotonic_regression(values, weights=weights).x
        assert never_falling(values, weights) == pytest.approx(wanted.tolist(), abs=1e-12)
    upside_down = {word: WordCount(90 - 15 * place, 0.0, 100) for place, word in enumerate(FREQUENCY)}
    assert list(word_shares(upside_down).values()) == sorted(word_shares(upside_down).values())


def test_the_words_of_a_club_are_found_again_from_its_answers(bench: Knowledge) -> None:
    """Answers drawn at the written rates with 5 % slips, pooled and estimated: every word comes back as written."""
    from diagnose.reasoning.tables import shown_rates

    rng = np.random.default_rng(11)
    answers: Counter[tuple[str, str, str]] = Counter()
    for cause in bench.causes.values():
        for name, tell in cause.shows.items():
            if name not in bench.findings:
                continue
            finding = bench.findings[name]
            rates = 0.95 * shown_rates(finding, tell) + 0.05 / len(finding.answers)
            for answer, many in zip(finding.answers, rng.multinomial(4000, rates), strict=True):
                answers[str(cause.id), name, str(answer)] = int(many)
    pooled = word_counts(bench, answers)
    used = {word for word, count in pooled.items() if count.chances}
    assert {"often", "usually", "nearly-always"} <= used
    assert {w: word_shares(pooled)[w] for w in used} == pytest.approx({w: FREQUENCY[w] for w in used}, abs=0.01)


# What it does to the ranking.


def test_an_empty_book_teaches_nothing_and_changes_no_bit(bench: Knowledge, tmp_path: Path) -> None:
    with open_book(str(tmp_path / "book"), make=True) as book, book.reading() as connection:
        assert learn(bench, counted(connection)) is None
    conclusions = reason(bench, {"idle": "hunts", "under-load": "sags"})
    assert rank(bench, conclusions, learned=None).causes == rank(bench, conclusions).causes


def test_what_was_learned_of_the_prior_adds_up_in_decibels(bench: Knowledge) -> None:
    """The odds move by exactly the factor that is shown, against what the packs say and the same answers."""
    first = tables_of(bench).causes[0]
    learned = learned_from(bench, {first: 10})
    conclusions = reason(bench, {"idle": "hunts"})
    before, after = rank(bench, conclusions), rank(bench, conclusions, learned=learned)
    odds = [standing.of(first).alone / standing.other for standing in (before, after)]  # type: ignore[union-attr]
    moved = after.of(first).learned_decibels  # type: ignore[union-attr]
    assert moved > 0
    assert 10 * np.log10(odds[1] / odds[0]) == pytest.approx(moved, abs=1e-9)
    assert before.of(first).learned_decibels == 0.0  # type: ignore[union-attr]


def test_words_that_mean_less_in_a_club_move_a_cause_less(bench: Knowledge) -> None:
    told = CaseState(findings={"idle": Given("hunts")})
    plain = examine(bench, told)
    dull = Learned(1, {}, {}, learned_from(bench, {"bolts-loose": 1}).how_common, {**FREQUENCY, "usually": 0.56})
    seen = examine(bench, told, dull)
    assert 0 < seen.standing.of("bolts-loose").told_decibels < plain.standing.of("bolts-loose").told_decibels  # type: ignore[union-attr]


# The counts behind it.


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book(str(tmp_path / "book"), make=True) as opened:
        yield opened


def test_the_tallies_are_what_the_cases_would_give_whatever_was_done(bench: Knowledge, book: Book) -> None:
    rng = random.Random(5)
    fill(book, {"machines": [machine("Grey"), machine("Red")]})
    for number in range(60):
        cause = rng.choice(["bolts-loose", "plug-dead", "h-too-lean"])
        fill(book, case(number, cause, rng.choice(["Grey", "Red", None]), idle=rng.choice(["hunts", "steady"])))
        with book.writing() as connection:
            match rng.randrange(4):
                case 0:
                    mark = uid_of("case", str(rng.randint(0, number)))[:10]
                    correct(connection, bench, "case", mark, {"cause": "plug-dead"})
                case 1:
                    undone = {"confirmed": rng.choice(["no", "person"])}
                    correct(connection, bench, "case", uid_of("case", str(number))[:10], undone)
                case 2 if number % 7 == 0:
                    erase(connection, [uid_of("case", str(number))])
            assert tallies.kept(connection) == recounted(connection)
    with book.reading() as connection:
        assert len(tallies.kept(connection)) > 5


def test_only_confirmed_cases_count_and_a_person_can_confirm_one(bench: Knowledge, book: Book) -> None:
    fill(book, case(1, "bolts-loose"))
    with book.writing() as connection:
        correct(connection, bench, "case", "2026-05-01-1", {"confirmed": "no"})
        assert learn(bench, counted(connection)) is None
        correct(connection, bench, "case", "2026-05-01-1", {"confirmed": "person"})
        learned = learn(bench, counted(connection))
    assert learned is not None
    assert learned.seen == {"bolts-loose": 1}
