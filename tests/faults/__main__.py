"""The command: `python -m tests.faults --seed 7 --kills 200`."""

import argparse
import sys

from tests.faults.fault_run import FaultPlan, run_faults


def main() -> int:
    """Run, print the figures, and return 1 if anything is wrong."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=7, help="the luck of the run (default %(default)s)")
    parser.add_argument("--kills", type=int, default=200, help="how many processes to kill (default %(default)s)")
    parser.add_argument("--pause", type=float, default=3.0, help="seconds between two kills, on average")
    options = parser.parse_args()
    people = max(4, options.kills // 10)  # one person is told ten things an hour, and the rest in one message
    plan = FaultPlan(options.seed, options.kills, mean_pause=options.pause, people_per_building=people)
    report = run_faults(plan)
    print("\n".join(report.lines()))
    return 1 if report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
