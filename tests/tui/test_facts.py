"""Every fact has its line in one list, is answered there, moves the diagnosis and can be taken back."""

from __future__ import annotations

from pathlib import Path

from bay import bench, read_all, screen_text, to_engine, type_text, until, words
from textual.widgets import OptionList

from listen.jobs.answers import NO, OPEN, YES, answer, answer_events, facts_here, in_words, type_in
from listen.jobs.engine_case import diagnosed
from listen.jobs.events import JobNamed, PlugSeen, ReadingEntered, SymptomNoted
from listen.jobs.folder.store import create_job, open_job
from listen.trade.engine import layout
from listen.trade.facts import Fact, core, fact, facts
from tui.screens.diagnosis.pages import page
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.dialog import OneLineScreen, PickScreen, TickScreen
from tui.screens.facts.screen import FactsScreen, options


async def to_facts(pilot) -> FactsScreen:
    await to_engine(pilot)
    await pilot.press("s")
    await until(pilot, lambda: isinstance(pilot.app.screen, FactsScreen))
    return pilot.app.screen


async def stand_on(pilot, screen: FactsScreen, id: str) -> None:
    listed = screen.query_one(OptionList)
    await until(pilot, lambda: id in [o.id for o in listed.options])
    listed.highlighted = [o.id for o in listed.options].index(id)
    await pilot.press("enter")


def typed_for(f: Fact) -> str:
    """Something that may be typed for it."""
    return "1-2" if f.answer == "groups" else f"{(f.least + f.most) / 2:.0f}"


def test_every_fact_can_be_told(tmp_path: Path) -> None:
    """Each by what its line of the list writes, the ones that open others first, and each stands in the job then."""
    with create_job(tmp_path, title="t", engine=layout("inline-2")) as opened:
        for f in sorted(facts().values(), key=lambda f: f.id not in ("diesel", "turbo")):
            assert f.id in [id for id, _ in options(opened.job, "", 80)]
            n = 2 if f.scope == "cylinder" else None
            opened.append(
                *(
                    answer_events(opened.job, f, YES, n)
                    if f.answer == "yes-no"
                    else type_in(opened.job, f, typed_for(f), n)
                )
            )
            assert in_words(opened.job, f)
        job = opened.job
    assert len(facts_here(job)) == len(facts()) and all(in_words(job, f) for f in facts_here(job))
    assert job.engine.fuel == "diesel" and job.engine.shared_intakes == ((1, 2),)
    assert job.symptoms_of(2) and "turbo" in job.symptoms_of() and not job.troubles


def test_a_long_fact_is_broken_below_its_words(tmp_path: Path) -> None:
    """Not below its answer, which stands before them."""
    with create_job(tmp_path, title="t", engine=layout("inline-2")) as opened:
        lines = [words.plain for id, words in options(opened.job, "", 50) if id]
    broken = [part for line in lines for part in line.split("\n")[1:]]
    assert broken and all(part.startswith(" " * 15) and part[15] != " " and len(part) <= 50 for part in broken)


async def test_every_kind_of_fact_can_be_told_by_keys_alone(tmp_path: Path) -> None:
    """From the engine: s, the line, Enter; a figure or groups typed; a cylinder chosen."""
    app = bench(tmp_path, engine=layout("inline-2"))
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_facts(pilot)
        kinds = {(f.answer, f.scope, bool(f.sets)): f for f in facts_here(app.job)}
        assert len(kinds) >= 5
        for f in kinds.values():
            await stand_on(pilot, screen, f.id)
            if f.scope == "cylinder":
                await until(pilot, lambda: isinstance(app.screen, PickScreen))
                await pilot.press("2")
            if f.answer != "yes-no":
                await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
                await pilot.press("home", "ctrl+k")
                await type_text(pilot, typed_for(f))
            if f.scope == "cylinder":
                await until(pilot, lambda f=f: bool(in_words(app.job, fact(f.id))))
                await pilot.press("escape")
            await until(pilot, lambda f=f: app.screen is screen and bool(in_words(app.job, fact(f.id))))
    with open_job(next((tmp_path / "jobs").glob("[!.]*")), write=False) as read:
        assert all(in_words(read.job, f) for f in kinds.values()) and not read.job.troubles


async def test_a_statement_goes_from_open_to_yes_to_no_and_back_and_no_to_the_rest_is_one_key(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_facts(pilot)
        for said in (YES, NO, OPEN, YES):
            await stand_on(pilot, screen, "coolant-loss")
            await until(pilot, lambda said=said: answer(app.job, fact("coolant-loss")) == said)
        assert not app.job.symptoms_asked or app.job.symptoms_of()
        await pilot.press("n")
        await until(pilot, lambda: core() <= {*app.job.asked_of(), *app.job.symptoms_of()})
        assert app.job.symptoms_of() == ("coolant-loss",)
        events = app.job.events
        await pilot.press("n")
        assert app.job.events == events, "asked again with nothing open says nothing new"
        await pilot.press("escape", "d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await until(pilot, lambda: "head gasket open to the coolant" in words(app))


async def test_a_figure_takes_the_jobs_unit_and_a_wrong_one_leaves_the_line_open_with_one_sentence(
    tmp_path: Path,
) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_facts(pilot)
        await stand_on(pilot, screen, "compression-expected")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        await pilot.press(*"18", "enter")
        await until(pilot, lambda: "18 is outside 200" in words(app))
        await pilot.press(*["backspace"] * 2, *"180 psi", "enter")
        await until(pilot, lambda: app.screen is screen)
        assert answer(app.job, fact("compression-expected")) == "1241 kPa"
        await stand_on(pilot, screen, "compression-expected")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        await pilot.press(*["backspace"] * 6, "enter")
        await until(pilot, lambda: app.screen is screen)
        assert answer(app.job, fact("compression-expected")) == OPEN


async def test_the_list_is_searched_and_says_what_a_fact_speaks_for_and_where_that_comes_from(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_facts(pilot)
        await pilot.press("slash", *"rod", "backspace", "backspace", "backspace", *"liquid", "enter")
        await until(pilot, lambda: "Speaks for: bent connecting rod" in words(app))
        assert "shop rule, ours" in words(app)
        assert "coolant-loss" not in screen_text(app) and "loses coolant" not in screen_text(app)


async def test_a_check_is_entered_from_the_list_that_asked_for_it_and_is_not_asked_again(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_facts(pilot)
        await stand_on(pilot, screen, "timing-disturbed")
        await pilot.press("escape", "d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        assert "timing marks" in words(app)
        await pilot.press("enter")
        await until(pilot, lambda: "marks off, or the cam does not turn" in words(app))
        assert "An interference engine may bend valves" in words(app), "the danger stands before the step"
        await pilot.press("enter")
        await until(pilot, lambda: bool(app.job.checks))
        assert [(c.check, c.outcome) for c in app.job.checks] == [("timing-marks", "off")]
        await until(pilot, lambda: "timing marks · marks off" in words(app))
        await pilot.press("w")
        await until(pilot, lambda: "shop rule, ours" in words(app))
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        assert "timing marks · marks off" in words(app)


async def test_a_cylinder_is_not_asked_or_yes_or_no_each_told_apart(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_facts(pilot)
        await stand_on(pilot, screen, "lash-nil")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("2", "3", "3", "escape")
        await until(pilot, lambda: app.screen is screen)
        assert [answer(app.job, fact("lash-nil"), n) for n in (1, 2, 3, 4)] == [OPEN, YES, NO, OPEN]
        await until(pilot, lambda: "on 2; not on 3" in words(app))
        await stand_on(pilot, screen, "lash-nil")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("2", "3", "4", "4", "escape")
        await until(pilot, lambda: app.screen is screen)
        assert [answer(app.job, fact("lash-nil"), n) for n in (1, 2, 3, 4)] == [OPEN, NO, OPEN, NO]
        assert app.job.symptoms_of(2) == ()


async def test_a_plug_may_look_several_ways_and_each_counts(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        read_all(app)
        await pilot.press("p")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await pilot.press("o", "space", "g", "g", "space", "enter")
        await until(pilot, lambda: 1 in app.job.plugs)
        assert app.job.plugs[1].conditions == ("oil-wet", "bridged")
        await pilot.press("d")
        await until(pilot, lambda: "plug gap bridged" in words(app) and "this plug oil-wet" in words(app))


async def test_a_check_is_entered_on_each_cylinder_of_a_fault(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        app.write(*(SymptomNoted(symptom="lash-nil", cylinder=n) for n in (2, 4)))
        await pilot.press("d")
        for n in (2, 4):
            await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
            await pilot.press("c")
            await until(pilot, lambda: isinstance(app.screen, PickScreen))
            assert f"cylinder {n}: valve lift" in words(app)
            await pilot.press("enter")
            await until(pilot, lambda: "lift below 90 %" in words(app))
            await pilot.press("enter")
            await until(pilot, lambda n=n: n in [c.cylinder for c in app.job.checks])
        assert [(c.check, c.outcome) for c in app.job.checks] == [("lift-and-lash", "short")] * 2


async def test_a_check_of_a_cylinder_that_is_not_known_asks_which(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        app.write(SymptomNoted(symptom="coolant-loss"))
        await pilot.press("d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        listed = app.screen.query_one(OptionList)
        listed.highlighted = [o.id for o in listed.options].index("bubbles-start-and-stop@?")
        await pilot.press("enter")
        await until(pilot, lambda: "On which cylinder?" in words(app))
        await pilot.press("down", "down", "enter")
        await until(pilot, lambda: "start and stop with the air" in words(app))
        await pilot.press("enter")
        await until(pilot, lambda: bool(app.job.checks))
        assert [(c.check, c.outcome, c.cylinder) for c in app.job.checks] == [
            ("bubbles-start-and-stop", "start-stop", 3)
        ]
        await until(pilot, lambda: "open to the coolant · cylinder 3" in words(app))


def test_what_a_diagnosis_says_first_is_said_to_its_last_word(tmp_path: Path) -> None:
    """Little tested, much to name: it is longer than other texts, and its last words are its caution."""
    with create_job(tmp_path, title="t", engine=layout("inline-5")) as opened:
        for reading, si in (("loss", 12.0), ("compression-dry", 1230.0)):
            opened.append(ReadingEntered(reading=reading, value=si, unit="x", si=si, cylinder=5))
        told = diagnosed(opened.job)
        assert len(told.text) > 400 and told.text in page(told, opened.job).plain


async def test_every_row_behind_a_diagnosis_shows_its_source_and_pressures_are_in_the_jobs_unit(tmp_path: Path) -> None:
    """w: of priors, weights, checks, contradictions, blind spots, plugs and facts; and nothing in kPa in a psi job."""
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 200)) as pilot:
        await to_engine(pilot)
        app.write(JobNamed(pressure_unit="psi"), PlugSeen(cylinder=2, conditions=("metal",)))
        for n, psi in ((1, 170.0), (2, 90.0), (3, 168.0), (4, 172.0)):
            read = ReadingEntered(reading="compression-dry", value=psi, unit="psi", si=psi * 6.894757, cylinder=n)
            app.write(read, ReadingEntered(reading="loss", value=8.0, unit="percent", si=8.0, cylinder=n))
        app.write(SymptomNoted(symptom="ticking"))
        await pilot.press("d")
        await until(pilot, lambda: "cylinder 2: 90 psi" in words(app))
        assert "kPa" not in words(app) and "before any evidence" not in words(app)
        await pilot.press("w")
        await until(pilot, lambda: "before any evidence" in words(app))
        text = words(app)
        assert "FAA AC 43.13-1B, spark plugs" in text, "the plug's own row"
        assert "What contradicts itself" in text and "Compression is low but the loss is low." in text
        assert "What the tests made cannot see" in text and "US Army TM 5-4210-230-14&P-1" in text
        assert "What was noted" in text and "ticking at half engine speed" in text
        assert text.count("shop rule, ours") >= 5
        await pilot.press("escape", "a")
        await until(pilot, lambda: "All cautions" in words(app))
        assert "shop rule, ours" not in words(app), "no page to turn up"
