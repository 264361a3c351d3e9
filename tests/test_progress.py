"""What progress says of the time that is left."""

import pytest

from covermap.cli import progress

STEPS = [  # seconds since the start, stage, fraction done: seconds left
    (0.0, "paths", 0.11, None),  # the first word: how long that took is not known
    (0.5, "paths", 0.30, None),  # too short to tell
    (2.0, "paths", 0.51, 2.0 * 0.49 / 0.40),  # 40 % took 2 s
    (9.0, "paths", 1.00, 0.0),
    (9.1, "reception", 0.50, None),  # another stage has a pace of its own
    (11.1, "reception", 0.51, None),
    (13.1, "reception", 0.75, 4.0),  # 25 % took 4 s
]


def test_the_time_left_is_told_from_what_was_timed(monkeypatch):
    clock, now = progress._Clock(), [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    for at_s, stage, fraction, left in STEPS:
        now[0] = 100.0 + at_s
        assert clock.seconds_left(stage, fraction) == pytest.approx(left)
