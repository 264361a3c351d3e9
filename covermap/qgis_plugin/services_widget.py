"""The field of services wanted: a line of text, and a list of the stations' own services to tick."""

from processing.gui.wrappers import WidgetWrapper
from qgis.core import (
    QgsProcessingContext,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingUtils,
    QgsProject,
)
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from .scenario_text import services_of

MOST_SERVICES = 2000


class ServicesWrapper(WidgetWrapper):
    """Text that can be typed, and a button that offers the services of the chosen stations."""

    def createWidget(self):
        """Return the widget."""
        widget, row = QWidget(), QHBoxLayout()
        self.line, button = QLineEdit(), QPushButton("Choose …")
        self.others = {}
        button.clicked.connect(self.choose)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.line, 1)
        row.addWidget(button)
        widget.setLayout(row)
        return widget

    def value(self):
        """Return the text."""
        return self.line.text()

    def setValue(self, value):
        """Show a text."""
        self.line.setText("" if value is None else str(value))

    def postInitialize(self, wrappers):
        """Remember the fields of the stations beside this one."""
        self.others = {one.parameterDefinition().name(): one for one in wrappers}

    def offered(self):
        """Return the services of the chosen stations, sorted; none where no layer is chosen."""
        layer, field = self._value_of("STATIONS"), self._value_of("FIELD_SERVICE") or "service"
        # So it is when only the selected features are asked for.
        if isinstance(layer, QgsProcessingFeatureSourceDefinition):
            layer = layer.source.staticValue()
        if isinstance(layer, str):
            context = QgsProcessingContext()
            context.setProject(QgsProject.instance())
            layer = QgsProcessingUtils.mapLayerFromString(layer, context)
        field = field[0] if isinstance(field, list) and field else field
        index = layer.fields().lookupField(field) if layer is not None else -1
        if index < 0:
            return []
        return sorted({str(value) for value in layer.uniqueValues(index, MOST_SERVICES) if value})

    def choose(self):
        """Offer the services to tick."""
        dialog = ServicesDialog(self.offered(), services_of(self.value()), self.line)
        if dialog.exec():
            self.setValue("; ".join(dialog.ticked()))

    def _value_of(self, name):
        wrapper = self.others.get(name)
        if wrapper is None:
            return None
        return wrapper.parameterValue() if hasattr(wrapper, "parameterValue") else wrapper.value()


class ServicesDialog(QDialog):
    """A list of services with a tick each."""

    def __init__(self, offered, chosen, parent=None):
        super().__init__(parent)
        self.setWindowTitle("Services wanted")
        self.list = QListWidget()
        # What was typed is kept, also where no station has it: it may be a channel.
        for service in [*offered, *(one for one in chosen if one not in offered)]:
            item = QListWidgetItem(service, self.list)
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            ticked = Qt.CheckState.Checked if service in chosen else Qt.CheckState.Unchecked
            item.setCheckState(ticked)
        buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addWidget(self.list)
        layout.addWidget(buttons)

    def ticked(self):
        """Return the services that are ticked, in the order of the list."""
        items = [self.list.item(row) for row in range(self.list.count())]
        return [item.text() for item in items if item.checkState() == Qt.CheckState.Checked]
