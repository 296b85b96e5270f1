"""``hissway lab``: drills without a screen (list, make, from-job, score, export, learners)."""

import argparse
import secrets
import sys
from functools import partial

from listen.cli.out_file import check_place, form_of
from listen.errors import JournalBroken, LabError, UsageError, refusal
from listen.jobs.folder.store import find_job, jobs_root, open_job
from listen.lab.learners import Learner, create_learner, delete_learner, drills_dir, find_learner, lab_root
from listen.lab.learners import list_learners as everybody
from listen.lab.training.drills import SUFFIX, list_drills
from listen.lab.training.export import write_answers, write_class, write_thresholds
from listen.lab.training.from_job import drill_from_job, superseded
from listen.lab.training.instructor import class_focus, class_lines, learner_row, score_lines
from listen.lab.training.make_drill import MakeWish, make_drill
from listen.lab.training.next_drill import suggest
from listen.lab.training.seal import lab_key
from listen.same_fields import same_fields
from listen.voice.figures import counted
from listen.voice.text import json_line, plain


def shown(args: argparse.Namespace) -> int:
    """Without an action: the drills there are."""
    print("Drills are played on the screens: hissway, then lab. There are:", file=sys.stderr)
    args.lab, args.json = None, False
    return listed(args)


def listed(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    if old := sorted(p.parent.name for p in drills_dir(root).glob("*/drill.json")):
        print(f"of an earlier form, to be made anew: {plain(', '.join(old))}", file=sys.stderr)
    for drill in list_drills(root):
        origin = "simulated" if drill.simulated else "from a job"
        line = f"{drill.id:<24} {drill.level:<13} {drill.rounds:>3} rounds  {origin:<10}  {drill.title}"
        print(json_line(drill) if args.json else plain(line))
    return 0


def make(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    wish = MakeWish(
        **same_fields(args, "rounds", "backgrounds", "seconds", "switched"),
        paths=tuple(tuple(t.split("+")) for t in args.truths),
        hiss_db=(args.hiss[0], args.hiss[1]),
        seed=secrets.randbelow(2**62) if args.seed is None else args.seed,
    )

    def progress(number: int) -> None:
        print(f"\r{number} of {counted(wish.rounds, 'round')}", end="", file=sys.stderr)

    drill = make_drill(args.title, wish, args.output, root=root, progress=progress)
    print(f"\n{plain(drill.about)}", file=sys.stderr)
    print(drill.file)
    return 0


def from_job(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
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


def _chosen(args: argparse.Namespace) -> tuple[Learner, ...]:
    root = lab_root(args.lab)
    return (find_learner(root, args.learner),) if args.learner else everybody(root)


def _said_if_none(found: tuple[Learner, ...]) -> tuple[Learner, ...]:
    if not found:
        print("no learners here yet; hissway lab learners --add NAME takes one in", file=sys.stderr)
    return found


def score(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    chosen = _said_if_none(_chosen(args))
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


def export(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    if args.classes and (args.learner or args.thresholds):
        raise UsageError("--class is one table of all learners; leave the learner and --thresholds out")
    # First: a place that will not do is told before every answer was read.
    if args.output is not None:
        check_place(args.output, form_of(args.output, ("csv",)))
    write = partial(write_thresholds if args.thresholds else write_answers, root, _chosen(args))
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


def learners(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    if args.add:
        create_learner(root, args.add)
    if args.delete:
        delete_learner(root, find_learner(root, args.delete))
    for learner in _said_if_none(everybody(root)):
        print(plain(f"{learner.id:<28} {learner.name}"))
    return 0


def next_one(args: argparse.Namespace) -> int:
    root = lab_root(args.lab)
    found = suggest(root, find_learner(root, args.learner))
    print(plain(f"{found.drill.id if found.drill else 'practice'}: {found.title}. {found.why}"))
    return 0
