"""What workers of the tests' pools do: apart, so that a worker need not import all that tests import."""

import os
import signal
import time
from pathlib import Path

from digitize.batch.task import Outcome


def answer(task):
    return Outcome(state="done", sha256=str(os.getpid()))


def sometimes_die(task):
    with open(f"{task.source}.{task.key}", "a") as tries:
        tries.write("I")
    if task.key == "1":
        os.kill(os.getpid(), signal.SIGSEGV)
    if task.key == "2":
        os.kill(os.getpid(), signal.SIGKILL)
    if task.key == "3" and not os.path.exists(task.source):
        Path(task.source).touch()
        os._exit(7)
    return Outcome(state="done")


def hang(task):
    if task.key == "1":
        time.sleep(60)
    return Outcome(state="done")


def work_side_by_side(task):
    time.sleep(0.02)
    return Outcome(state="done", seconds=time.monotonic())
