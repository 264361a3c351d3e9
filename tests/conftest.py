"""Shared set-up: a compile cache of its own for each state of the kernel files."""

import hashlib
import os
import tempfile
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1] / "covermap"


def _kernel_state():
    """Return a digest of every Python file that may hold a kernel."""
    digest = hashlib.sha256()
    for folder in ("propagation", "grid", "reception", "terrain", "outputs"):
        for path in sorted((PACKAGE / folder).rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


# numba's cache keeps a stale loop when a kernel it calls in another file changes.
os.environ.setdefault(
    "NUMBA_CACHE_DIR", str(Path(tempfile.gettempdir()) / f"covermap_kernels_{_kernel_state()}")
)
