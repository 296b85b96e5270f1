"""``hissway demo``: the main job on shipped recordings, without a microphone and without PortAudio."""

import argparse
import sys


def run(args: argparse.Namespace) -> int:
    """Open the screens on a copy of the demo job, or play its main round through as text."""
    if not args.plain and sys.stdout.isatty() and args.open_demo is not None:
        code: int = args.open_demo(args)
        return code
    # The first run compiles byte code and fills caches: say that it works before the silence.
    print("Judging the shipped demo round (simulated) ...", file=sys.stderr, flush=True)
    from listen.cli.table import round_table
    from listen.jobs.folder.store import open_job
    from listen.jobs.to_round import to_round
    from listen.lab.shipped import MAIN_ROUND, demo_job
    from listen.rounds.evaluate import evaluate
    from listen.temporary_folder import temporary_folder

    with temporary_folder("hissway-demo-") as place:
        folder = demo_job(place)
        with open_job(folder, write=False) as opened:
            round_ = to_round(opened.job, MAIN_ROUND, folder)
            engine = opened.job.engine
            print(f"{opened.job.title} (simulated)")
            print(
                f"{engine.name or engine.layout}, cylinder {round_.facts.cylinder}, loss {round_.facts.loss_percent} %"
            )
            print(round_table(evaluate(round_)))
    return 0
