"""The way of a new user in a real browser: load a table, change the budget, click the map, take the work list."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import openpyxl
from playwright.sync_api import Page, expect

PATIENCE_MS = 60_000


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
    with page.expect_download(timeout=PATIENCE_MS) as download:
        page.get_by_role("button", name="Crew work list (XLSX)").click()
    book = openpyxl.load_workbook(BytesIO(Path(download.value.path()).read_bytes()))
    assert len(book.sheetnames) > 3
    assert any("<b>Elm</b>" in str(cell.value) for row in book.worksheets[0].iter_rows() for cell in row)
    assert outside == []
