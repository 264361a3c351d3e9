"""Names on the map: none is cut off by the window's edge, none lies under a button."""

import pytest
from web_map_browser import NARROW, WIDE, load
from web_map_case import make_areas, write_page

pytestmark = pytest.mark.browser
LONG = "Upper Something-under-the-Edge and the Nethermost Hamlets"

WRITTEN = """
    const spots = [], halo = draw_halo_text;
    window.draw_halo_text = (context, text, x, y) => {
        const half = context.measureText(text).width / 2;
        spots.push([text, x - half, y, x + half]);
        halo(context, text, x, y);
    };
    page.cells.draw_now();
    window.draw_halo_text = halo;
    const map = page.map.getContainer().getBoundingClientRect();
    const over = ["#zoom", "#scale", "#by_area"].map((id) => find(id).getBoundingClientRect());
    const buttons = over.filter((box) => box.width).map(
        (box) => [box.left - map.left, box.top - map.top, box.right - map.left, box.bottom - map.top]);
    return [spots, buttons, map.width];
"""


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    areas = make_areas()
    areas["neighbourhood_name"] = [
        f"{name} {LONG}" if name != "Middle" else name for name in areas["neighbourhood_name"]
    ]
    return write_page(tmp_path_factory.mktemp("names"), areas=areas)


@pytest.mark.parametrize("size", [NARROW, (390, 844), WIDE])
def test_names_stay_in_view_and_clear_of_the_buttons(browser, case, size):
    load(browser, case, size)
    written, buttons, width = browser.execute_script(WRITTEN)
    assert len(buttons) >= 2
    assert all(left >= 0.0 and right <= width for _, left, _, right in written if right - left < width)
    for text, left, y, right in written:
        for near, top, far, bottom in buttons:
            assert right < near or left > far or y + 8 < top or y - 8 > bottom, text
    if size == WIDE:
        assert any("Hamlets" in text for text, *_ in written)
