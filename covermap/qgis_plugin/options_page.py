"""The options page: where the covermap command is, and a button that tries it."""

from pathlib import Path

from qgis.core import QgsSettings
from qgis.gui import QgsFileWidget, QgsOptionsPageWidget, QgsOptionsWidgetFactory
from qgis.PyQt.QtGui import QIcon
from qgis.PyQt.QtWidgets import QFormLayout, QLabel, QPushButton

from .executable import SETTING, VARIABLE, ExecutableError, find_executable, try_executable


class OptionsPage(QgsOptionsPageWidget):
    """One file field, a Test button, and what came of it."""

    def __init__(self, parent=None):
        super().__init__(parent)
        self.file = QgsFileWidget()
        self.file.setFilePath(QgsSettings().value(SETTING, "", str))
        self.button = QPushButton("Test")
        self.button.clicked.connect(self.test)
        self.answer = QLabel(f"Empty: {VARIABLE}, then PATH.")
        self.answer.setWordWrap(True)
        form = QFormLayout(self)
        form.addRow("The covermap command", self.file)
        form.addRow(self.button, self.answer)

    def test(self):
        """Try the command that would be used and say what it answers."""
        try:
            # What stands in the field, before it is kept.
            path = find_executable(self.file.filePath())
            self.answer.setText(f"It works: {try_executable(path)}, {path}")
        except ExecutableError as error:
            self.answer.setText(str(error))

    def apply(self):
        """Keep the path."""
        QgsSettings().setValue(SETTING, self.file.filePath().strip())


class OptionsFactory(QgsOptionsWidgetFactory):
    """Makes the page for the options dialog."""

    def __init__(self):
        super().__init__("covermap", QIcon(str(Path(__file__).with_name("icon.svg"))))

    def createWidget(self, parent=None):
        """Return a new page."""
        return OptionsPage(parent)
