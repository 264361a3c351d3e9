"""Output folders: files whole or absent, ours replaced, foreign ones never touched."""

import os

import pytest

from covermap.errors import InputError
from covermap.result.result_folder import relative_names, require_ours
from covermap.result.whole_file import TEMPORARY_FOLDER, whole_file, whole_files, write_text


def test_a_file_appears_only_when_it_is_whole(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("old")
    with whole_file(path) as temporary:
        temporary.write_text("new")
        assert path.read_text() == "old"
        assert temporary.suffix == ".csv"
    assert path.read_text() == "new"
    assert [found.name for found in tmp_path.iterdir()] == ["table.csv"]


def _write_and_fail(paths):
    with whole_files(paths) as temporaries:
        temporaries[0].write_text("new")
        raise RuntimeError("stop")


def test_of_several_files_all_appear_or_none(tmp_path):
    first, second = tmp_path / "a.txt", tmp_path / "b.txt"
    first.write_text("old")
    with pytest.raises(RuntimeError, match="stop"):
        _write_and_fail([first, second])
    assert first.read_text() == "old"
    assert not second.exists()
    assert not (tmp_path / TEMPORARY_FOLDER).exists()


@pytest.mark.parametrize("when", ["made", "found"])
def test_a_file_is_written_though_another_thread_takes_the_empty_folder_away(tmp_path, monkeypatch, when):
    """Two threads write into one folder; who ends first removes the folder of unfinished files."""
    hidden, mkdir, times = tmp_path / TEMPORARY_FOLDER, os.mkdir, []

    def removed_once(path, *arguments, **options):
        first = str(path) == str(hidden) and not times
        if first:
            times.append(path)
        if first and when == "found":
            raise FileExistsError(path)  # and gone before it is looked at
        mkdir(path, *arguments, **options)
        if first:
            os.rmdir(path)

    monkeypatch.setattr(os, "mkdir", removed_once)
    write_text(tmp_path / "x.txt", "x")
    assert times
    assert (tmp_path / "x.txt").read_text() == "x"
    assert not hidden.exists()


def test_text_keeps_its_line_ends_and_its_letters(tmp_path):
    write_text(tmp_path / "x.txt", "Ås\nb\r\n")
    assert (tmp_path / "x.txt").read_bytes() == "Ås\nb\r\n".encode()


def test_a_new_empty_or_unfinished_folder_and_our_own_are_accepted(tmp_path):
    require_ours(tmp_path / "new")
    require_ours(tmp_path)
    (tmp_path / "rasters" / TEMPORARY_FOLDER).mkdir(parents=True)
    (tmp_path / "rasters" / TEMPORARY_FOLDER / "x.tif").write_text("x")
    require_ours(tmp_path)
    (tmp_path / "run.json").write_text('{"result_format": 7}')
    (tmp_path / "notes.txt").write_text("mine")
    require_ours(tmp_path)


def test_a_foreign_folder_is_refused_unless_asked(tmp_path):
    (tmp_path / "thesis.doc").write_text("mine")
    with pytest.raises(InputError, match=r"for example thesis\.doc.*--overwrite"):
        require_ours(tmp_path)
    require_ours(tmp_path, overwrite=True)
    (tmp_path / "run.json").write_text('{"something": "else"}')
    with pytest.raises(InputError, match="not a covermap result"):
        require_ours(tmp_path)
    with pytest.raises(InputError, match="is a file"):
        require_ours(tmp_path / "thesis.doc")


def test_names_are_listed_once_with_forward_slashes(tmp_path):
    paths = [tmp_path / "rasters" / "b.tif", tmp_path / "a.csv", tmp_path / "a.csv"]
    assert relative_names(tmp_path, paths) == ["a.csv", "rasters/b.tif"]
