"""`bench` at a prompt of a sitting: a calculator asked through, its page shown and kept, its findings told to the rules."""

from __future__ import annotations

from contextlib import suppress

from ..bench.calculator import Calculator, Given, NotPossible, Page, Value
from ..bench.calculators import calculator
from ..bench.inputs import in_words, with_figures
from ..bench.inputs import understood as value_of
from ..case.casefile import understood
from ..case.log import CaseLog
from ..case.readings import NotAReading
from ..knowledge.model import Finding
from . import screens
from .bench import listing, page_lines, worked_out
from .sitting import Sitting


def work_out(sitting: Sitting, named: str) -> bool:
    """Work a calculator. True when the prompt must be asked anew."""
    if not named:
        sitting.say("    Calculators; type the name after it, such as: bench air")
        sitting.show(listing(sitting.width))
        return False
    try:
        knowing = calculator(named).with_rules(lambda: sitting.knowledge)
        chosen = with_figures(knowing, lambda: sitting.knowledge)
    except NotPossible as wrong:
        sitting.say(f"    {wrong}.")
        return False
    sitting.warn([name for name in chosen.cautions if name in sitting.knowledge.cautions])
    sitting.say()
    sitting.say(f"{chosen.title}. 'back' goes to the input before.", "head")
    why, sitting.why = sitting.why, lambda: screens.paragraph("The calculator reckons with it.", sitting.width, "    ")
    done = worked_out(chosen, sitting.show, sitting.read, sitting.width, _known(sitting, chosen))
    sitting.why = why
    if done is not None:
        given, page = done
        sitting.warn([name for name in page.cautions if name in sitting.knowledge.cautions])
        sitting.show(page_lines(page, sitting.width))
        keep(sitting.log, chosen, given, page)
        _tell_rules(sitting, page)
    return True


def _known(sitting: Sitting, chosen: Calculator) -> dict[str, Value | tuple[Value, ...]]:
    """What the case knows already of the inputs: what machine it is, and what was given the last time."""
    answers = {name: given.answer for name, given in sitting.state.findings.items()}
    last = next((dict(done.inputs) for done in reversed(sitting.state.bench) if done.calculator == chosen.name), {})
    known: dict[str, Value | tuple[Value, ...]] = {}
    for asked in chosen.inputs:
        if answers.get(asked.name) in asked.choices:
            known[asked.name] = answers[asked.name]
        elif asked.name in last and not asked.many:
            with suppress(NotPossible):  # the calculator of then may have taken other values
                known[asked.name] = value_of(asked, last[asked.name])
    return known


def keep(log: CaseLog, chosen: Calculator, given: Given, page: Page) -> None:
    """Into the log, in words, so that the report needs neither the calculator nor any file again."""
    log.append(
        "bench",
        calculator=chosen.name,
        title=page.title,
        inputs={asked.name: in_words(asked, given[asked.name]) for asked in chosen.inputs if asked.name in given},
        results=[f"{row.label}: {row.written}" for row in page.rows],
        says=list(page.says),
        findings=dict(page.findings),
    )


def _tell_rules(sitting: Sitting, page: Page) -> None:
    """Offer the findings to the rules; what is told becomes ordinary answers, so that `back` and `change` reach them."""
    findings = sitting.knowledge.findings
    news = {}
    for name, text in page.findings.items():
        if name in findings and _can_be(sitting, findings[name]):
            with suppress(NotAReading):  # beyond what the rules take: for the report only
                news[name] = understood(findings[name], text)
    news = {name: given for name, given in news.items() if sitting.state.findings.get(name) != given}
    if not news:
        return
    sitting.say()
    sitting.say("Tell this to the rules?", "ask")
    for name, given in news.items():
        finding = findings[name]
        reading = f"{given.reading}, " if given.reading else ""
        said = f"{finding.ask} {reading}{finding.answers[given.answer].say}"
        sitting.show(screens.paragraph(said, sitting.width, "    - ", rest="      "))
    if sitting.choose(["yes", "no, keep it for the report only"]) == 0:
        for name, given in news.items():
            sitting.record(findings[name], given)
        sitting.show(screens.brief(sitting.examined, sitting.width))


def _can_be(sitting: Sitting, finding: Finding) -> bool:
    """True if this machine has what the finding is about."""
    return sitting.examined.conclusions.applies(finding.needs)
