"""What a run did, counted while it runs and written into run.json."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass
class RunCounts:
    """Blocks of path losses computed and read, seconds a stage, and seconds spent compiling in them.

    other_tiers : cells of a sample by tier (index 255 unknown) at the other default of the prediction error
    """

    computed: int = 0
    read: int = 0
    stages_s: dict[str, float] = field(default_factory=dict)
    compile_s: float = 0.0
    other_tiers: NDArray[np.int64] = field(default_factory=lambda: np.zeros(256, dtype=np.int64))

    def add(self, other: RunCounts) -> None:
        """Add what was counted of a part of the run."""
        self.computed += other.computed
        self.read += other.read
        for stage, seconds in other.stages_s.items():
            self.stages_s[stage] = self.stages_s.get(stage, 0.0) + seconds
        self.other_tiers += other.other_tiers
