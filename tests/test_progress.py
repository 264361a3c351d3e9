"""Progress where there is no terminal: a line every ten seconds, so that a log shows that work goes on."""

import pytest

from covermap.cli import progress


def test_a_line_every_ten_seconds_without_a_terminal(monkeypatch, capsys):
    now = iter(float(second) for second in range(0, 1000, 2))
    monkeypatch.setattr(progress.time, "monotonic", lambda: next(now))
    with progress.progress_on_stderr("auto") as report:
        for step in range(1, 21):  # each asks the clock twice: 4 s a step
            assert report("paths", step / 20, "North Mast")
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 80 // 12  # the first step at which 10 s have passed is the third: 12 s
    assert all(line.startswith("Paths") and "North Mast" in line for line in lines)
    assert "%" in lines[0]


@pytest.mark.parametrize("kind", ["none"])
def test_none_says_nothing(kind, capsys):
    with progress.progress_on_stderr(kind) as report:
        assert report("paths", 0.5, "North Mast")
    assert capsys.readouterr().err == ""
