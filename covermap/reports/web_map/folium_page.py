"""A folium map that needs no network: nothing linked, everything inlined, the same bytes each time."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from typing import Any, ClassVar

import folium
from branca.element import Element, Figure, MacroElement
from folium.template import Template

from covermap.wording.language import spoken

POLICY_MARK = "@content-security-policy@"
LANGUAGE_MARK = "@language@"


class Verbatim(Element):
    """Text that goes into the page as it is.

    branca reads the text of its own elements as Jinja templates, so braces in a station's name or in a
    script would be run; this element is never read again.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Verbatim"
        self.text = text

    def render(self, **kwargs: Any) -> str:
        """Return the text."""
        return self.text


class BodyText(Verbatim):
    """Text that stands in the body in the order in which it is added to the page, as the map does."""

    def render(self, **kwargs: Any) -> str:
        """Add the text to the body."""
        page = self.get_root()
        assert isinstance(page, Figure)  # add_body() put it there
        page.html.add_child(Verbatim(self.text), name=self.get_name())
        return ""


class OfflinePage(Figure):
    """The document around the map: language, character set, and a policy that forbids every request."""

    _template = Template(
        f'<!DOCTYPE html>\n<html lang="{LANGUAGE_MARK}">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY_MARK}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        "{{ this.header.render(**kwargs) }}\n</head>\n"
        '<body class="without_script">\n{{ this.html.render(**kwargs) }}\n'
        "<script>{{ this.script.render(**kwargs) }}</script>\n</body>\n</html>\n"
    )

    def __init__(self) -> None:
        super().__init__()
        self.header._children.clear()  # folium's own character set line; ours stands first

    def add_header(self, text: str) -> None:
        """Add text to the head."""
        self.header.add_child(Verbatim(text))

    def add_body(self, text: str) -> None:
        """Add text to the body."""
        self.add_child(BodyText(text))


class OfflineMap(folium.Map):
    """A Leaflet map without tiles, links or controls of its own; zoom steps and keys are the page's."""

    default_js: ClassVar[list[tuple[str, str]]] = []  # type: ignore[misc]
    default_css: ClassVar[list[tuple[str, str]]] = []  # type: ignore[misc]

    _template = Template(
        """
        {% macro html(this, kwargs) %}
        <div class="folium-map" id={{ this.get_name()|tojson }}></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        const {{ this.get_name() }} = L.map({{ this.get_name()|tojson }}, {
            center: {{ this.location|tojson }}, crs: L.CRS.{{ this.crs }}, ...{{ this.options|tojavascript }}
        });
        {% endmacro %}
        """
    )

    def __init__(self, location: tuple[float, float]) -> None:
        super().__init__(
            location=location,
            tiles=None,
            zoom_control=False,
            attribution_control=False,
            zoom_snap=0,
            zoom_animation=False,
            fade_animation=False,
            keyboard=False,
            scroll_wheel_zoom=False,
            double_click_zoom=False,
            box_zoom=False,
        )


class StartPage(MacroElement):
    """The call that hands the map to the page's scripts."""

    _template = Template(
        "{% macro script(this, kwargs) %}start_page({{ this._parent.get_name() }});{% endmacro %}"
    )

    def __init__(self) -> None:
        super().__init__()
        self._name = "StartPage"


def rendered(page: OfflinePage, host: str | None = None) -> str:
    """Return the document with folium's random ids numbered and the policy filled in.

    host : from which pictures of a base map may come, with its scheme; None: nothing may be fetched
    """
    for number, part in enumerate(_parts(page), start=1):
        part._id = str(number)
    text = page.render()
    text = text.replace(LANGUAGE_MARK, spoken(), 1)
    return text.replace(POLICY_MARK, _policy(text, host), 1)


def _parts(element: Element) -> Iterator[Element]:
    yield element
    if isinstance(element, Figure):
        for section in (element.header, element.html, element.script):
            yield from _parts(section)
    for child in element._children.values():
        yield from _parts(child)


def _policy(text: str, host: str | None) -> str:
    """Return the policy: no request at all, but for pictures from a host; only this very file's
    scripts and styles may run.

    Source: W3C Content Security Policy Level 3, sections 6.1.3 (default-src) and 8 (hashes).
    """
    scripts = " ".join(_digests(re.findall(r"<script>(.*?)</script>", text, re.DOTALL)))
    pictures = "" if host is None else f" {host}"
    styles = " ".join(_digests(re.findall(r"<style>(.*?)</style>", text, re.DOTALL)))
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; img-src data:{pictures}; "
        "base-uri 'none'; form-action 'none'"
    )


def _digests(contents: list[str]) -> list[str]:
    return [
        f"'sha256-{base64.b64encode(hashlib.sha256(content.encode('utf-8')).digest()).decode('ascii')}'"
        for content in contents
    ]
