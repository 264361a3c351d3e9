"""Runs the covermap command as a child: progress, cancel, and what it said when it failed. Pure Python."""

import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections import deque

from .executable import NO_WINDOW, command_environment

LAST_LINES = 20
POLL_SECONDS = 0.1
SECONDS_TO_STOP = 5.0
# share of the whole, in percent, where each stage of a run begins and ends
STAGES = {"paths": (0.0, 70.0), "reception": (70.0, 90.0), "outputs": (90.0, 100.0)}


class CommandFailed(Exception):
    """The command ended with an error; the text holds the last lines it said."""


class CommandCanceled(Exception):
    """The user stopped the command; the child has ended."""


def run_command(arguments, canceled, progress, say):
    """Run a command to its end and return its standard output.

    Parameters
    ----------
    arguments : list of str, the executable first
    canceled : called often; True ends the child
    progress : told the whole's progress in percent
    say : told each line of text the command writes

    Raises
    ------
    CommandFailed
        With exit status and the last 20 lines of standard error.
    CommandCanceled
        After the child has ended.
    """
    process = _start(arguments)
    lines: queue.Queue = queue.Queue()
    # A thread a stream: one that nobody reads fills its pipe, and the child stands still.
    readers = [
        threading.Thread(target=_read, args=(stream, name, lines), daemon=True)
        for stream, name in ((process.stdout, "out"), (process.stderr, "err"))
    ]
    for reader in readers:
        reader.start()
    written: list = []
    faults: deque = deque(maxlen=LAST_LINES)
    open_streams = len(readers)
    try:
        while open_streams:
            if canceled():
                raise CommandCanceled("Canceled. The same run carries on where this one stopped.")
            try:
                # With a timeout, so that cancel is seen also while the child says nothing.
                name, line = lines.get(timeout=POLL_SECONDS)
            except queue.Empty:
                continue
            if line is None:
                open_streams -= 1
            elif name == "out":
                written.append(line)
                say(line)
            else:
                _hear(line, progress, say, faults)
        status = process.wait()
    finally:
        # In `finally`: also where `say` or `progress` raised, no child is left behind.
        _stop(process)
    if status != 0:
        raise CommandFailed("\n".join([f"covermap ended with status {status}.", *faults]))
    return "\n".join(written)


def percent_of(stage, fraction):
    """Return the progress of the whole in percent from a stage and its done fraction."""
    low, high = STAGES.get(stage, (0.0, 100.0))
    return low + (high - low) * min(max(fraction, 0.0), 1.0)


def _start(arguments):
    """Start the child as the head of a group of its own, so that all of it can be ended."""
    return subprocess.Popen(
        [str(part) for part in arguments],
        # in QGIS there is nobody to answer: a question is refused, not waited for
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        # A library below may write in the system's own encoding; one odd byte must not end the run.
        errors="replace",
        env=command_environment(),
        start_new_session=sys.platform != "win32",
        creationflags=NO_WINDOW,
    )


def _read(stream, name, lines):
    for line in stream:
        lines.put((name, line.rstrip("\n")))
    # tells that this stream has ended
    lines.put((name, None))


def _hear(line, progress, say, faults):
    """Take a line of standard error: progress as JSON, anything else as text."""
    try:
        # A line that merely looks like JSON is text and must be shown, not lost.
        told = json.loads(line) if line.startswith("{") else None
        percent = percent_of(told["stage"], float(told["fraction"])) if told else None
    except (ValueError, KeyError, TypeError):
        percent = None
    if percent is not None:
        progress(percent)
    elif line.strip():
        faults.append(line)
        say(line)


def _stop(process):
    """End the child and all it started, first asking, then not; nothing if it has ended."""
    # SIGINT first, as Ctrl-C: the command then keeps what it has, and the same run carries on later.
    for ask in (signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGKILL", signal.SIGTERM)):
        if process.poll() is not None:
            return
        if sys.platform == "win32":
            process.terminate()
        else:
            # the group: the child's own children too
            os.killpg(process.pid, ask)
        try:
            process.wait(timeout=SECONDS_TO_STOP)
        except subprocess.TimeoutExpired:
            continue
