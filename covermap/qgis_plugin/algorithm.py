"""What the algorithms share: name, help, running the command, and loading what it wrote."""

from pathlib import Path

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingOutputHtml,
    QgsProcessingOutputString,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProject,
    QgsSettings,
)
from qgis.PyQt.QtCore import QUrl
from qgis.PyQt.QtGui import QIcon

from .cautions import help_text
from .command import CommandCanceled, CommandFailed, run_command
from .executable import SETTING, ExecutableError, find_executable
from .load_result import load_layer, load_result
from .result_folder import ResultError

GROUP = "Television reception"
TAGS = ("television", "antenna", "reception", "coverage", "propagation", "terrain")
HERE = Path(__file__).parent


class SharedParts:
    """Name, help, parameters and the command; beside one of QGIS's classes of algorithms.

    Subclasses set NAME, TITLE, WHAT, NOTES and PICTURE.
    """

    NAME = TITLE = WHAT = PICTURE = ""
    NOTES: tuple = ()

    def name(self):
        """Return the id."""
        return self.NAME

    def displayName(self):
        """Return what people read."""
        return self.TITLE

    def group(self):
        """Return the name of the group."""
        return GROUP

    def groupId(self):
        """Return the id of the group."""
        return "television_reception"

    def icon(self):
        """Return the icon."""
        return QIcon(str(HERE / "icon.svg"))

    def tags(self):
        """Return words under which a search finds it."""
        return list(TAGS)

    def helpUrl(self):
        """Return the page of help that comes with the plugin."""
        return f"{QUrl.fromLocalFile(str(HERE / 'help.html')).toString()}#{self.NAME}"

    def shortHelpString(self):
        """Return the help, with a picture where there is one and every caution."""
        picture = QUrl.fromLocalFile(str(HERE / self.PICTURE)).toString() if self.PICTURE else ""
        return help_text(self.WHAT, self.NOTES, picture)

    def createInstance(self):
        """Return a fresh algorithm."""
        # QGIS runs a copy of what is registered, one a run: what a run keeps in `self` stays its own.
        return type(self)()

    def add(self, parameter, text, advanced=False):
        """Add a parameter with its help."""
        parameter.setHelp(text)
        if advanced:
            flag = QgsProcessingParameterDefinition.Flag.FlagAdvanced
            parameter.setFlags(parameter.flags() | flag)
        self.addParameter(parameter)

    def add_scenario(self, optional=False):
        """Add the parameter SCENARIO."""
        self.add(
            QgsProcessingParameterFile("SCENARIO", "Scenario file", extension="toml", optional=optional),
            "The scenario.toml that names terrain, stations and the services wanted.",
        )

    def add_folder(self, label, text):
        """Add the folder that is written, and the summary every command gives."""
        self.add(QgsProcessingParameterFolderDestination("OUTPUT", label), text)
        self.addOutput(QgsProcessingOutputString("SUMMARY", "Summary"))

    def add_page(self):
        """Declare a page, which the results viewer shows."""
        self.addOutput(QgsProcessingOutputHtml("PAGE", "Page"))

    def add_layer(self, name, label, kind):
        """Declare a vector layer that other algorithms can take up, and whether to load it."""
        self.addOutput(QgsProcessingOutputVectorLayer(name, label, kind))
        self.add(
            QgsProcessingParameterBoolean("LOAD", "Load the layer", defaultValue=True),
            "Adds the layer to this project, in its own style.",
        )

    def run_covermap(self, arguments, feedback):
        """Run the command with arguments; return what it wrote. Raises QgsProcessingException."""
        try:
            executable = find_executable(QgsSettings().value(SETTING, "", str))
            feedback.pushCommandInfo(" ".join(["covermap", *map(str, arguments)]))
            return run_command(
                [executable, *arguments], feedback.isCanceled, feedback.setProgress, feedback.pushInfo
            )
        # The one error of which QGIS shows the text; of any other it shows a traceback.
        except (ExecutableError, CommandFailed, CommandCanceled) as error:
            raise QgsProcessingException(str(error)) from error

    def load(self, folder, context):
        """Load a result folder into the project; return how many layers it has."""
        try:
            return len(load_result(folder, context.project() or QgsProject.instance()))
        except ResultError as error:
            raise QgsProcessingException(str(error)) from error

    def load_one(self, source, title, context):
        """Load one layer into the project in its own style."""
        load_layer(source, title, context.project() or QgsProject.instance())


class CovermapAlgorithm(SharedParts, QgsProcessingAlgorithm):
    """An algorithm that translates its parameters into one command."""


def page_in(folder, pattern="*.html"):
    """Return the page of a folder as text, "" where the command wrote none."""
    pages = sorted(Path(folder).glob(pattern))
    return str(pages[0]) if pages else ""


def layer_in(folder, file, table):
    """Return a layer of a GeoPackage as a source QGIS opens, None where the command wrote none."""
    path = Path(folder) / file
    return f"{path}|layername={table}" if path.is_file() else None
