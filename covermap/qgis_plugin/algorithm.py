"""What the algorithms share: name, help, running the command, and loading its result."""

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterFile,
    QgsProject,
    QgsSettings,
)

from .cautions import help_text
from .command import CommandCanceled, CommandFailed, run_command
from .executable import SETTING, ExecutableError, find_executable
from .load_result import load_result
from .result_folder import ResultError

GROUP = "Television reception"


class CovermapAlgorithm(QgsProcessingAlgorithm):
    """An algorithm that translates its parameters into one command.

    Subclasses set NAME, TITLE, WHAT and NOTES.
    """

    NAME = TITLE = WHAT = ""
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

    def shortHelpString(self):
        """Return the help, with every caution."""
        return help_text(self.WHAT, self.NOTES)

    def createInstance(self):
        """Return a fresh algorithm."""
        return type(self)()

    def add(self, parameter, text, advanced=False):
        """Add a parameter with its help."""
        parameter.setHelp(text)
        if advanced:
            parameter.setFlags(parameter.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
        self.addParameter(parameter)

    def add_scenario(self, optional=False):
        """Add the parameter SCENARIO."""
        self.add(
            QgsProcessingParameterFile("SCENARIO", "Scenario file", extension="toml", optional=optional),
            "The scenario.toml that names terrain, stations and the services wanted.",
        )

    def run_covermap(self, arguments, feedback):
        """Run the command with arguments; return what it wrote. Raises QgsProcessingException."""
        try:
            executable = find_executable(QgsSettings().value(SETTING, "", str))
            feedback.pushCommandInfo(" ".join(["covermap", *map(str, arguments)]))
            return run_command(
                [executable, *arguments], feedback.isCanceled, feedback.setProgress, feedback.pushInfo
            )
        except (ExecutableError, CommandFailed, CommandCanceled) as error:
            raise QgsProcessingException(str(error)) from error

    def load(self, folder, context):
        """Load a result folder into the project; return how many layers it has."""
        try:
            return len(load_result(folder, context.project() or QgsProject.instance()))
        except ResultError as error:
            raise QgsProcessingException(str(error)) from error
