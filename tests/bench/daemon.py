"""The service as a process: daemon.py BENCH COMPUTE until-idle|on. One event a line on standard output."""

import dataclasses
import sys
import threading
from pathlib import Path

from service import QUICK

from verifier.bench import Event, run_bench
from verifier.errors import VerifierError


def tell(event: Event) -> None:
    sys.stdout.write(f"{type(event).__name__} {dataclasses.astuple(event)}\n")
    sys.stdout.flush()


def main() -> int:
    bench, compute, how_long = sys.argv[1:]
    try:
        until_idle = how_long == "until-idle"
        run_bench(Path(bench), tell, threading.Event(), compute=compute, until_idle=until_idle, limits=QUICK)
    except VerifierError as error:
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
