"""The way of a new user in a real browser: load a table, change the budget, click the map, take the work list."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import openpyxl
from playwright.sync_api import Page, expect

PATIENCE_MS = 60_000


expect.set_options(timeout=PATIENCE_MS)


def table_with_lines(path: Path) -> Path:
    """Twelve blocks in a row, each with four broken panels, as GeoJSON."""
    features = [{
        "type": "Feature",
        "properties": {"block_id": f"B{number:02d}", "street": "<b>Elm</b>", "length_ft": 330, "width_ft": 36,
                       "panels_broken": 4, "panels_cracked": 9, "spalled_joint_ft": 80},
        "geometry": {"type": "LineString", "coordinates": [[-97.0 + number * 0.001, 40.0],
                                                           [-97.0 + (number + 1) * 0.001, 40.0]]}}
        for number in range(12)]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def settle(page: Page) -> None:
    page.wait_for_function("() => !document.querySelector('[data-testid=stStatusWidget]')", timeout=PATIENCE_MS)


def test_from_a_table_to_a_work_list_without_the_internet(page: Page, address: str, tmp_path: Path) -> None:
    outside: list[str] = []
    page.on("request", lambda request: outside.append(request.url) if not request.url.startswith(
        (address, address.replace("http", "ws"), "data:", "blob:")) else None)
    page.set_default_timeout(PATIENCE_MS)
    page.set_viewport_size({"width": 1400, "height": 1000})

    page.goto(address)
    expect(page.get_by_text("invented city")).to_be_visible(timeout=PATIENCE_MS)
    map_frame = page.frame_locator("iframe[title*=folium]")
    expect(map_frame.locator("canvas.leaflet-zoom-animated")).to_be_attached(timeout=PATIENCE_MS)

    page.locator("input[type=file]").first.set_input_files(table_with_lines(tmp_path / "mine.geojson"))
    page.get_by_role("button", name="Use these 12 blocks").click()
    expect(page.get_by_text("mine.geojson: 12 blocks")).to_be_visible(timeout=PATIENCE_MS)

    page.get_by_role("link", name="Program and scenarios").click()
    budget = page.get_by_label("Budget a year, dollars of that year")
    budget.wait_for()
    settle(page)
    all_blocks = page.get_by_text("12 of 12")
    expect(all_blocks).to_be_visible(timeout=PATIENCE_MS)
    budget.fill("90000")
    budget.press("Enter")
    expect(all_blocks).not_to_be_visible(timeout=PATIENCE_MS)
    expect(page.get_by_text(" of 12", exact=False).first).to_be_visible()

    page.get_by_role("link", name="Strategies").click()
    settle(page)
    frame = page.frame_locator("iframe[title*=folium]")
    canvas = frame.locator("canvas.leaflet-zoom-animated")
    canvas.wait_for()
    box = frame.locator(".folium-map, .leaflet-container").first.bounding_box()
    assert box is not None
    page.wait_for_timeout(1500)  # the map fits its bounds once it has been drawn
    # The blocks lie in one row through the middle of the map; the last one ends at its right side.
    page.mouse.click(box["x"] + box["width"] * 0.52, box["y"] + box["height"] / 2)
    expect(page.get_by_role("heading", name="B06")).to_be_visible(timeout=PATIENCE_MS)

    page.get_by_role("link", name="Work list").click()
    settle(page)
    page.get_by_role("button", name="Make the sheets").click()
    with page.expect_download(timeout=PATIENCE_MS) as download:
        page.get_by_role("button", name="Work list as workbook (XLSX)").click()
    book = openpyxl.load_workbook(BytesIO(Path(download.value.path()).read_bytes()))
    assert len(book.sheetnames) > 3
    assert any("<b>Elm</b>" in str(cell.value) for row in book.worksheets[0].iter_rows() for cell in row)
    with page.expect_download(timeout=PATIENCE_MS) as download:
        page.get_by_role("button", name="Work list to print").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")
    assert outside == []


def test_a_changed_budget_shows_the_new_program_its_chart_and_its_map(page: Page, address: str) -> None:
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{address}/program")
    budget = page.get_by_label("Budget a year, dollars of that year")
    budget.wait_for()
    blocks = page.get_by_test_id("stMetricValue").first
    expect(blocks).to_contain_text("of 1,200")
    chart = page.locator(".js-plotly-plot .main-svg").first
    expect(chart).to_be_visible()
    before = blocks.inner_text()
    budget.fill("2000000")
    budget.press("Enter")
    expect(blocks).not_to_have_text(before)
    expect(page.get_by_text("of $20,000,000")).to_be_visible()
    expect(page.locator(".js-plotly-plot").first).to_contain_text("$2M")
    page.get_by_role("tab", name="Map", exact=True).click()
    frame = page.frame_locator("iframe[title*=folium] >> nth=-1")  # the last map takes the place of the one before
    expect(frame.locator("canvas.leaflet-zoom-animated")).to_be_attached()
    few = blocks.inner_text()
    budget.fill("6000000")
    budget.press("Enter")
    expect(blocks).not_to_have_text(few)
    expect(frame.locator("canvas.leaflet-zoom-animated")).to_be_attached()
    assert int(blocks.inner_text().split()[0]) > int(few.split()[0])


def test_an_empty_yearly_budget_is_asked_for_and_changes_nothing(page: Page, address: str) -> None:
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{address}/program")
    blocks = page.get_by_test_id("stMetricValue").first
    expect(blocks).to_contain_text("of 1,200")
    before = blocks.inner_text()
    page.get_by_text("A budget of its own for each year").click()
    canvas = page.get_by_test_id("stDataFrame").locator("canvas").first
    canvas.wait_for()
    page.wait_for_timeout(1000)  # the grid takes clicks once it is drawn
    box = canvas.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * 0.75, box["y"] + 35 * 2.5)  # the budget of the second year
    page.keyboard.press("Delete")
    expect(page.get_by_text("no figure for 2028; give one, 0 for no money")).to_be_visible()
    assert blocks.inner_text() == before
