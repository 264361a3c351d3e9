"""Fetches a file over HTTP so that a broken transfer goes on where it stopped, and checks its size."""

from __future__ import annotations

import os
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

from covermap.errors import CovermapError

PART_BYTES = 256 * 1024
ATTEMPTS = 4
NEXT = (
    "Look at the network and run the same command again; if the address has moved, name another source "
    "(--elevation, --land-cover) or your own with --sources TABLE."
)
PAUSE_S = 1.0  # before trying again, doubled each time
TIMEOUT_S = 30.0
AGENT = "covermap"


def size_of(address: str) -> int | None:
    """Return the size of a file in bytes, None where there is no such file.

    Raises CovermapError where the server does not answer, or does not tell the size.
    """
    request = urllib.request.Request(address, method="HEAD", headers={"User-Agent": AGENT})
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
            length = answer.headers.get("Content-Length")
    except urllib.error.HTTPError as error:
        if error.code in (403, 404):  # stores that may not be listed answer 403 for what is not there
            return None
        raise CovermapError(
            f"{address}: the server answers {error.code} ({error.reason}).\n  {NEXT}"
        ) from error
    except (urllib.error.URLError, TimeoutError, OSError) as error:
        raise CovermapError(
            f"{address} cannot be reached: {getattr(error, 'reason', error)}.\n  {NEXT}"
        ) from error
    if length is None:
        raise CovermapError(f"{address}: the server does not tell the size of the file.\n  {NEXT}")
    return int(length)


def fetch(address: str, size: int, path: Path, told: Callable[[int], bool] | None = None) -> None:
    """Fetch a file of a known size to a path; the part that is there already is not fetched again.

    told : called with each number of bytes that arrived; False stops
    Raises CovermapError when it does not arrive whole after several attempts, or is larger than it said.
    """
    part = path.with_name(path.name + ".part")
    last: Exception | None = None
    for attempt in range(ATTEMPTS):
        if attempt:
            time.sleep(PAUSE_S * 2 ** (attempt - 1))
        try:
            _go_on(address, size, part, told)
        except (urllib.error.URLError, TimeoutError, OSError) as error:
            last = error
            continue
        if part.stat().st_size == size:
            # The final name stands only for a whole file: whoever finds it need not ask its size again.
            os.replace(part, path)
            return
        # a transfer that ended early without an error is tried again without a reason to tell
        last = None
    arrived = part.stat().st_size if part.exists() else 0
    if arrived > size:
        part.unlink()
        raise CovermapError(f"{address}: {arrived:,} bytes arrived, {size:,} were announced. It was removed.")
    reason = f" ({getattr(last, 'reason', last)})" if last else ""
    raise CovermapError(
        f"{address}: {arrived:,} of {size:,} bytes arrived{reason}.\n"
        "  Run the same command again: it goes on from there."
    )


def _go_on(address: str, size: int, part: Path, told: Callable[[int], bool] | None) -> None:
    done = part.stat().st_size if part.exists() else 0
    if done > size:
        part.unlink()
        done = 0
    if done == size and size:
        return
    headers = {"User-Agent": AGENT} | ({"Range": f"bytes={done}-"} if done else {})
    with urllib.request.urlopen(
        urllib.request.Request(address, headers=headers), timeout=TIMEOUT_S
    ) as answer:
        # A server that knows no ranges answers 200 with the whole file: appended, it would be twice as long.
        goes_on = done > 0 and answer.status == 206
        with open(part, "ab" if goes_on else "wb") as file:
            while piece := answer.read(PART_BYTES):
                file.write(piece)
                if told is not None and told(len(piece)) is False:
                    # as if the user had pressed Ctrl-C: nothing above takes it for a failure worth another
                    # attempt
                    raise KeyboardInterrupt
