"""Pages of a report on a phone: no column stands outside what is shown."""

import pytest
from web_map_browser import resize

from covermap.reports.installation_comparison.page import WORDS
from covermap.reports.installation_comparison.write import TEMPLATES

pytestmark = pytest.mark.browser
PHONE = (390, 844)
AMPLIFIED = ["1,000", "Masthead amplifier, low gain, 55: 820", "Masthead amplifier, high gain, 68: 210"]
SHOWN = """
const seen = [];
for (const cell of document.querySelectorAll("td")) {
  const box = cell.getBoundingClientRect();
  const hidden = box.width === 0 || box.left < 0 || box.right > innerWidth;
  seen.push([cell.textContent.trim(), getComputedStyle(cell, "::before").content, hidden]);
}
return seen;
"""


def comparison_facts(antennas):
    row = {"mount": "rooftop", "price": "92", "holds": "1,500", "range": "1,400 to 1,700", "unserved": ""}
    rows = [
        row
        | {"name": f"Antenna {n}", "short": f"antenna_{n}", "amplified": AMPLIFIED, "not_held": f"2,30{n}"}
        for n in range(antennas)
    ]
    words = {key: f"word {key}" for key in (*WORDS, "by_antenna", "by_service", "by_area")}
    services = [{"name": "Coast TV", "counts": [f"4,00{n}" for n in range(antennas)]}]
    lists = {"differences": [], "notes": [], "cautions": [], "antennas": rows, "services": services}
    flags = dict.fromkeys(("priced", "ranged", "amplified"), True)
    return {"title": "Isle", "over": "All of it", "words": words, **lists, **flags}


def test_every_figure_of_a_comparison_of_six_antennas_is_seen_on_a_phone_with_its_name(browser, tmp_path):
    path = tmp_path / "antennas.html"
    text = TEMPLATES.get_template("antennas.html").render(facts=comparison_facts(6))
    path.write_text(text, "utf-8")
    resize(browser, PHONE)
    browser.get(path.as_uri())
    cells = [cell for cell in browser.execute_script(SHOWN) if cell[0]]
    assert [cell for cell in cells if cell[2]] == []
    names = {text: name for text, name, _ in cells}
    assert names["2,305"] == '"word not_held"'
    assert names["4,005"] == '"antenna_5"'
    assert browser.execute_script("return document.documentElement.scrollWidth") <= PHONE[0]
