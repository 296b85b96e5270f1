"""``hissway lab``: drills without a screen (list, make, from-job, score, export, learners)."""

import argparse
import secrets
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from listen.cli.out_file import check_place, form_of
from listen.errors import JournalBroken, LabError, UsageError, refusal
from listen.jobs.folder.store import find_job, jobs_root, open_job
from listen.lab import learners
from listen.lab.learners import Learner, drills_dir, find_learner
from listen.voice.figures import counted
from listen.voice.text import json_line, plain
from listen.whole_number import seed, whole

EXAMPLE = "hissway lab make 'Faint ones' --rounds 12 --hiss -3 6 --seed 7"

Adder = Callable[[argparse.ArgumentParser], None]
Runner = Callable[[argparse.Namespace, Path], int]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One sub-command a row of ``ACTIONS``; without one, the drills are listed."""
    parser.set_defaults(lab=None, json=False)
    actions = parser.add_subparsers(dest="action", metavar="ACTION")
    for name, (summary, example, adder, _) in ACTIONS.items():
        sub = actions.add_parser(name, help=summary, description=summary, epilog=f"Example: {example}")
        sub.add_argument("--lab", metavar="DIR", help="folder of the lab (default: HISSWAY_LAB or user data)")
        adder(sub)


def run(args: argparse.Namespace) -> int:
    if args.action is None:
        print("Drills are played on the screens: hissway, then lab. There are:", file=sys.stderr)
    return ACTIONS[args.action or "list"][3](args, learners.lab_root(args.lab))


def _json_option(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--json", action="store_true", help="one JSON object a line")


def _list(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.drills import list_drills

    if old := sorted(p.parent.name for p in drills_dir(root).glob("*/drill.json")):
        print(f"of an earlier form, to be made anew: {plain(', '.join(old))}", file=sys.stderr)
    for drill in list_drills(root):
        origin = "simulated" if drill.simulated else "from a job"
        line = f"{drill.id:<24} {drill.level:<13} {drill.rounds:>3} rounds  {origin:<10}  {drill.title}"
        print(json_line(drill) if args.json else plain(line))
    return 0


def _make_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("title", help="name of the drill")
    sub.add_argument("--rounds", type=whole(1, 200), default=10, metavar="N", help="how many (default 10)")
    sub.add_argument(
        "--truths",
        nargs="+",
        default=[],
        metavar="PATH",
        help="truths to draw from: escape paths, none for sound, a pair as intake-valve+rings (default: all)",
    )
    sub.add_argument(
        "--hiss",
        nargs=2,
        type=float,
        default=(0.0, 12.0),
        metavar=("LOW", "HIGH"),
        help="hiss in dB about the background (default 0 12)",
    )
    sub.add_argument("--backgrounds", type=Path, metavar="DIR", help="folder of sound files (default: simulated shops)")
    sub.add_argument("--seconds", type=float, default=3.0, metavar="S", help="length of a clip (default 3)")
    sub.add_argument("--switched", action="store_true", help="air switched at a standing microphone, no walks")
    sub.add_argument("--seed", type=seed, metavar="N", help="same seed, same drill (default: a new one)")
    sub.add_argument("-o", "--output", type=Path, metavar="FILE", help="new file to write (default: in the lab)")


def _make(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.make_drill import MakeWish, make_drill

    wish = MakeWish(
        rounds=args.rounds,
        paths=tuple(tuple(t.split("+")) for t in args.truths),
        hiss_db=(args.hiss[0], args.hiss[1]),
        backgrounds=args.backgrounds,
        seconds=args.seconds,
        switched=args.switched,
        seed=secrets.randbelow(2**62) if args.seed is None else args.seed,
    )

    def progress(number: int) -> None:
        print(f"\r{number} of {counted(wish.rounds, 'round')}", end="", file=sys.stderr)

    drill = make_drill(args.title, wish, args.output, root=root, progress=progress)
    print(f"\n{plain(drill.about)}", file=sys.stderr)
    print(drill.file)
    return 0


def _from_job_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("job", metavar="JOB", help="a job with findings: its folder, or its name among your jobs")
    sub.add_argument("--jobs", metavar="DIR", default=argparse.SUPPRESS, help="folder that holds the jobs")
    sub.add_argument("--title", default="", help="name of the drill; put no names of people or customers in it")
    sub.add_argument("-o", "--output", type=Path, metavar="FILE", help="new file to write (default: in the lab)")


def _from_job(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.drills import SUFFIX
    from listen.lab.training.from_job import drill_from_job, superseded
    from listen.lab.training.seal import lab_key

    opened = open_job(find_job(args.job, jobs_root(args.jobs)), write=False)
    # The line that took a finding back may be among those that do not hold.
    if opened.broken:
        raise JournalBroken(opened.broken)
    file = args.output or drills_dir(root) / f"job-{opened.job.id[:8]}{SUFFIX}"
    drill, left_out = drill_from_job(opened, file, args.title, key=lab_key(root, make=True))
    for cylinder, what in superseded(opened.job).items():
        print(f"cylinder {cylinder}: {plain(what)}", file=sys.stderr)
    for cylinder, why in left_out.items():
        print(f"cylinder {cylinder} left out: {plain(why)}", file=sys.stderr)
    print(drill.file)
    return 0


def _who_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("learner", nargs="?", help="one learner (default: all)")
    _json_option(sub)


def _chosen(args: argparse.Namespace, root: Path) -> tuple[Learner, ...]:
    return (find_learner(root, args.learner),) if args.learner else learners.list_learners(root)


def _said_if_none(found: tuple[Learner, ...]) -> tuple[Learner, ...]:
    if not found:
        print("no learners here yet; hissway lab learners --add NAME takes one in", file=sys.stderr)
    return found


def _score(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.instructor import class_focus, class_lines, learner_row, score_lines

    chosen = _said_if_none(_chosen(args, root))
    for learner in chosen:
        row = learner_row(root, learner)
        if args.json:
            print(json_line(row))
        else:
            print("\n".join(map(plain, score_lines(row))))
    if len(chosen) > 1 and not args.json:
        for line in class_lines(class_focus(root)):
            print(plain(line))
    return 0


def _export_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("learner", nargs="?", help="one learner (default: all)")
    sub.add_argument("--thresholds", action="store_true", help="ear thresholds instead of answers")
    sub.add_argument("--class", dest="classes", action="store_true", help="the class table instead: one row a learner")
    sub.add_argument("-o", "--output", type=Path, metavar="FILE", help="CSV file to write (default: stdout)")


def _export(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.export import write_answers, write_class, write_thresholds

    if args.classes and (args.learner or args.thresholds):
        raise UsageError("--class is one table of all learners; leave the learner and --thresholds out")
    # First: a place that will not do is told before every answer was read.
    if args.output is not None:
        check_place(args.output, form_of(args.output, ("csv",)))
    write = partial(write_thresholds if args.thresholds else write_answers, root, _chosen(args, root))
    if args.classes:
        write = partial(write_class, root)
    if args.output is None:
        write(sys.stdout)
        return 0
    with (
        refusal(LabError, f"{args.output}: cannot be written", "choose another place"),
        args.output.open("w", newline="", encoding="utf-8") as file,
    ):
        rows = write(file)
    print(f"{rows} rows in {args.output}", file=sys.stderr)
    return 0


def _learners_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--add", metavar="NAME", help="take a learner in")
    sub.add_argument("--delete", metavar="NAME", help="remove a learner with all their data from this machine")


def _learners(args: argparse.Namespace, root: Path) -> int:
    if args.add:
        learners.create_learner(root, args.add)
    if args.delete:
        learners.delete_learner(root, find_learner(root, args.delete))
    for learner in _said_if_none(learners.list_learners(root)):
        print(plain(f"{learner.id:<28} {learner.name}"))
    return 0


def _next_arguments(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("learner", help="who wants to train")


def _next(args: argparse.Namespace, root: Path) -> int:
    from listen.lab.training.next_drill import suggest

    found = suggest(root, find_learner(root, args.learner))
    print(plain(f"{found.drill.id if found.drill else 'practice'}: {found.title}. {found.why}"))
    return 0


ACTIONS: dict[str, tuple[str, str, Adder, Runner]] = {
    "list": ("list the drills there are", "hissway lab list", _json_option, _list),
    "make": ("make a drill with the simulator", EXAMPLE, _make_arguments, _make),
    "from-job": (
        "make a drill of a job whose findings are recorded; no names go along",
        "hissway lab from-job ~/jobs/2026-03-17-tractor",
        _from_job_arguments,
        _from_job,
    ),
    "score": ("scores of one learner or all", "hissway lab score Ada", _who_arguments, _score),
    "export": ("answers or ear thresholds as CSV", "hissway lab export -o answers.csv", _export_arguments, _export),
    "learners": ("list, add or delete learners", "hissway lab learners --add Ada", _learners_arguments, _learners),
    "next": ("what a learner should train next", "hissway lab next Ada", _next_arguments, _next),
}
"""One row an action: what it does, an example, its arguments, its code."""
