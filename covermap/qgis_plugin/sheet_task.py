"""The exact sheet of a place: the command in the background, its page opened when it is there."""

import hashlib
import tempfile
from pathlib import Path

from qgis.core import QgsSettings, QgsTask

from .command import CommandCanceled, CommandFailed, run_command
from .executable import SETTING, ExecutableError, find_executable


class SheetTask(QgsTask):
    """Runs `covermap address`; `done` is told (page, sentence): the page's path, or None and what failed."""

    def __init__(self, scenario, wanted_list, place_wgs84, done):
        super().__init__("Exact sheet of a place", QgsTask.Flag.CanCancel)
        # 7 decimals: about a centimetre
        at = f"--at={place_wgs84.y():.7f},{place_wgs84.x():.7f}"
        self.arguments = ["address", str(scenario), at, "--wanted", wanted_list]
        self.done = done
        # Not taken away again: the browser reads the page from it.
        self.folder = tempfile.mkdtemp(prefix="covermap_sheet_")
        self.said = ""

    def run(self):
        """Run the command, in a thread of its own."""
        arguments = [*self.arguments, "--output", self.folder, "--progress", "json"]
        try:
            executable = find_executable(QgsSettings().value(SETTING, "", str))
            self.said = run_command(
                [executable, *arguments], self.isCanceled, self.setProgress, lambda line: None
            )
        except (ExecutableError, CommandFailed, CommandCanceled) as error:
            self.said = str(error)
            return False
        return True

    def finished(self, ok):
        """Tell what came of it; QGIS calls this in the main thread."""
        pages = sorted(Path(self.folder).glob("*.html")) if ok else []
        self.done(pages[0] if pages else None, self.said)


def scenario_of(result):
    """Return the scenario file a result was made from, found near it by its digest; None without."""
    record = next((one for one in result.run.get("inputs", ()) if one.get("role") == "scenario"), None)
    if record is None:
        return None
    for folder in (result.folder, *list(result.folder.parents)[:3]):
        path = folder / record["file"]
        # By its digest: a scenario changed since would give a sheet that does not fit the map.
        if path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == record["sha256"]:
            return path
    kept = result.folder / "scenario.toml"  # assembled from layers, paths rewritten
    return kept if kept.is_file() else None
