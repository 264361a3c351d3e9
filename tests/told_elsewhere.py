"""What a test module answers in a process of its own, whose kernels are compiled otherwise or not at all."""

import json
import os
import subprocess
import sys
from pathlib import Path


def told(module, question, **environment):
    """Return what a process of its own answers of a test module, called here."""
    done = subprocess.run(
        [sys.executable, "-c", f"import json, {module} as here; print(json.dumps({question}))"],
        cwd=Path(__file__).parent,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)
