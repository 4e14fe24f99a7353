"""The page's languages: each says all there is to say, with the same figures in it; what the server says is there."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from digitize.review.form import OFFERED
from digitize.review.plate.form import LABELS as PLATE_LABELS
from digitize.review.plate.form import OWN
from digitize.words.of_failures import OF_FAILURES
from digitize.words.of_lot import OF_LOT
from digitize.words.say import MESSAGES
from tests.test_review_page import (  # noqa: F401
    CHROMIUM,
    PATIENCE_MS,
    against_wcag,
    drop,
    page,
    said,
    scan,
    to,
    visit,
)

browser = pytest.mark.open_data(CHROMIUM)
PAGE = Path(__file__).resolve().parents[1] / "digitize" / "review" / "page"
# What a language is made of: names, and of what is said with figures in it the names of those and whether each is used.
SHAPE = """async () => {
    const of = (value) => {
        if (typeof value === "function") {
            const [, names, body] = /^\\(?([^)=]*?)\\)?\\s*=>([\\s\\S]*)$/.exec(String(value));
            return names.split(",").map((one) => one.trim()).filter(Boolean)
                .map((one) => `${one}:${new RegExp(`\\\\b${one}\\\\b`).test(body)}`);
        }
        if (Array.isArray(value)) return value.map(of);
        if (value instanceof Set) return [...value];
        if (value && typeof value === "object") {
            return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, of(one)]));
        }
        return typeof value;
    };
    const all = {};
    for (const name of ["en", "de"]) {
        const { server, SHOWN, PLATE_SHOWN, ...words } = await import(`/page/words.${name}.js`);
        all[name] = of(words);
    }
    return all;
}"""


def flat(told, at=""):
    if isinstance(told, dict):
        return {one for key, value in told.items() for one in flat(value, f"{at}.{key}")}
    if isinstance(told, list) and any(isinstance(one, list | dict) for one in told):
        return {one for n, value in enumerate(told) for one in flat(value, f"{at}.{n}")}
    return {f"{at} {told}"}


@browser
def test_both_languages_say_the_same_things_with_the_same_figures(page):  # noqa: F811
    told = page.evaluate(SHAPE)
    english, german = flat(told["en"]), flat(told["de"])
    assert len(english) > 250
    assert english ^ german == set()
    written = (PAGE / "index.html").read_text("utf-8")
    named = set(re.findall(r'data-(?:say|label|role)="(\w+)"', written))
    assert named == set(told["en"]["page"])
    rest = re.sub(r"<(title|h1|code)\b.*?</\1>|<[^>]+>", "", written)  # the program's own name, and what is typed
    assert re.findall(r"[A-Za-z]{2,}", rest) == []


def table(name):
    """The entries of a table of the German file: what is said, by key."""
    text = (PAGE / "words.de.server.js").read_text("utf-8")
    part = re.search(rf"const {name} = \{{\n(.*?)\n\}};", text, re.DOTALL)[1]
    rows = re.findall(r'^  "?([\w-]+)"?: \["(.*?)", "(.*)"\],$', part, re.MULTILINE)
    assert len(rows) == part.count("\n  ") + 1 - part.count("\n  //")
    return {key: words for key, *words in rows}


def test_german_names_every_field_and_every_thing_that_may_be_said():
    fields, plate, told = table("fields"), table("plateFields"), table("said")
    assert set(fields) == set(OFFERED)
    assert set(plate) == {*PLATE_LABELS, *OWN}
    for one in (fields, plate):
        assert len({name for name, _ in one.values()}) == len(one)
    other_commands = {row.code for row in (*OF_FAILURES, *OF_LOT)}
    other_commands |= {"picture-gone", "printer-left-over", "rejected"}  # of batch and profile
    assert set(told) == set(MESSAGES) - other_commands
    names = {name for name, _ in (*fields.values(), *plate.values())} | {"separate"}  # the last on the command line
    for code, (title, step) in told.items():
        assert 4 < len(title) < 40, code
        assert step.endswith("."), code
        assert set(re.findall("„(.*?)“", step)) <= names, code
        assert "--" not in step, code


@browser
def test_the_browsers_language_is_spoken_and_another_one_is_remembered(visit, scan):  # noqa: F811
    context, address = visit
    own = context.browser.new_context(
        viewport={"width": 1280, "height": 720}, locale="de-CH", storage_state=context.storage_state()
    )
    page, troubles = own.new_page(), []  # noqa: F811
    page.set_default_timeout(PATIENCE_MS)
    page.on("console", lambda told: None if "422" in told.text else troubles.append(told.text))
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.goto(address)
    assert page.locator("html").get_attribute("lang") == "de"
    drop(page, scan)
    why = page.locator("#why span").first
    expect(why).to_contain_text("„Einfaches Quadrat“", timeout=PATIENCE_MS)
    assert why.get_attribute("lang") == "en"  # WCAG 2.2, 3.1.2: the sentence is English all the same
    page.get_by_role("button", name="Setzen: Einfaches Quadrat").click()
    page.get_by_label("Einfaches Quadrat", exact=True).fill("20,0x20")
    page.get_by_label("Einfaches Quadrat", exact=True).press("Enter")
    said(page, "2 Teile")
    page.get_by_label("Spiel je Seite").fill("0,25")
    page.get_by_label("Spiel je Seite").press("Enter")
    expect(page.locator("#items .cut").first).to_contain_text("Schnitt 0,25 mm außerhalb", timeout=PATIENCE_MS)
    expect(page.locator("#items")).to_contain_text(re.compile(r"24,0\d x 24,0\d mm"))
    expect(page.locator("#items")).not_to_contain_text(" in)")
    assert against_wcag(page) == []
    page.get_by_label("Größen").select_option("mm und Zoll")
    # 24 mm are 0.9449 in, an inch being 25.4 mm
    expect(page.locator("#items")).to_contain_text(re.compile(r"\(0,94\d+ x 0,94\d+ in\)"), timeout=PATIENCE_MS)
    page.get_by_label("Sprache").select_option("English")
    expect(page.get_by_label("Plain square")).to_be_visible(timeout=PATIENCE_MS)
    said(page, "2 items")  # the same picture, its steps and its options
    expect(page.locator("#items")).to_contain_text(re.compile(r"24\.0\d x 24\.0\d mm.*\(0\.94\d+ x 0\.94\d+ in\)"))
    again = own.new_page()
    again.goto(address)
    assert again.locator("html").get_attribute("lang") == "en"
    own.close()
    assert troubles == []
