"""Lines that tell how far the batch is: one that renews itself on a terminal, plain ones elsewhere."""

from __future__ import annotations

import sys
import time
from collections import deque
from dataclasses import dataclass, field
from typing import TextIO

from ..words.say import title_of
from .row import plain
from .task import Outcome

_WIDTH = 28  # characters of the bar
_RECENT = 60  # pictures the rate is taken from


@dataclass(slots=True)
class Progress:
    """Tells of a batch of `total` pictures on a stream."""

    total: int
    stream: TextIO = field(default_factory=lambda: sys.stderr)
    quiet: bool = False
    done: int = 0
    _times: deque[float] = field(default_factory=lambda: deque([time.monotonic()], maxlen=_RECENT))

    def ended(self, name: str, outcome: Outcome) -> None:
        """Tell that a picture is finished."""
        self.done += 1
        self._times.append(time.monotonic())
        if outcome.state == "unchanged" or outcome.adopted:
            return
        if self._on_terminal():
            if outcome.state != "done":
                self.say(f"{plain(name)}: {_told(name, outcome)}")
            self._bar()
        else:
            self.say(f"[{self.done}/{self.total}] {plain(name)}: {_told(name, outcome)}")

    def skipped(self) -> None:
        """Tell that a picture was done before."""
        self.done += 1

    def say(self, line: str) -> None:
        """Print a line, above the one that renews itself."""
        if not self.quiet:
            self._write(("\r\x1b[K" if self._on_terminal() else "") + line + "\n")

    def close(self) -> None:
        """Clear the line that renews itself."""
        if self._on_terminal() and not self.quiet:
            self._write("\r\x1b[K")

    def _bar(self) -> None:
        filled = round(_WIDTH * self.done / max(1, self.total))
        rate = (len(self._times) - 1) / max(1e-9, self._times[-1] - self._times[0])
        left = (self.total - self.done) / rate
        bar = "#" * filled + "." * (_WIDTH - filled)
        if not self.quiet:
            text = f"[{bar}] {self.done}/{self.total}  {60 * rate:.0f} a minute, {span(left)} left"
            self._write(f"\r\x1b[K{text}")

    def _on_terminal(self) -> bool:
        return self.stream.isatty()

    def _write(self, text: str) -> None:
        encoding = self.stream.encoding or "ascii"
        self.stream.write(text.encode(encoding, "replace").decode(encoding))
        self.stream.flush()


def span(seconds: float) -> str:
    """Return a length of time in words: 45 s, 12 min, 3 h 20 min."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"


def _told(name: str, outcome: Outcome) -> str:
    if outcome.state != "done":
        return outcome.problem.removeprefix(f"{plain(name.rsplit('/', 1)[-1])}: ")
    titles = dict.fromkeys(title_of(warned.code).lower() for warned in outcome.warned if warned.attention)
    look = f", LOOK: {', '.join(titles)}" if titles else ""
    count = len(outcome.items)
    return f"{count} item{'s' if count != 1 else ''}{look}, {outcome.seconds:.1f} s"
