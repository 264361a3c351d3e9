"""The plugin as QGIS loads it: the provider, and in the desktop a page of options."""

from qgis.core import QgsApplication

from .provider import CovermapProvider


class CovermapPlugin:
    """Registers the provider and the options page.

    iface : QgisInterface in the desktop, None in qgis_process
    """

    def __init__(self, iface):
        self.iface = iface
        self.provider = None
        self.options = None

    def initProcessing(self):
        """Register the provider; qgis_process calls only this."""
        self.provider = CovermapProvider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        """Register provider and options page in the desktop."""
        from .options_page import OptionsFactory

        self.initProcessing()
        self.options = OptionsFactory()
        self.iface.registerOptionsWidgetFactory(self.options)

    def unload(self):
        """Take both away again."""
        if self.options is not None:
            self.iface.unregisterOptionsWidgetFactory(self.options)
            self.options = None
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
