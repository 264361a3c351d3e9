"""The walks of docs/house.md lead through files and names that exist."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
WALKS = (ROOT / "docs" / "house.md").read_text("utf-8")
STEPS = re.findall(r"^\d\. .*?(?=^\d\. |^## |\Z)", WALKS, re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: " ".join(step.split()[:2]))
def test_a_step_names_files_and_functions_that_are_there(step):
    names = set()
    files = re.findall(r"`(covermap/[\w/]+\.py)`", step)
    for name in files:
        tree = ast.parse((ROOT / name).read_text("utf-8"))
        names |= {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.ClassDef)}
        names |= {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
        names |= {
            node.target.id
            for node in ast.walk(tree)
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name)
        }
    asked = [word for word in re.findall(r"`([A-Za-z_]+)`", step) if word not in ("gain_BAND_dbd",)]
    assert files or not asked
    assert not [word for word in asked if word not in names]


def test_there_are_two_walks():
    assert len(STEPS) == 12
