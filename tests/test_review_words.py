"""The page's languages: each says all there is to say, with the same figures in it; what the server says is there."""

import contextlib
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
from digitize.words.told import texts_of
from tests.in_browser import CHROMIUM, PATIENCE_MS, against_wcag, drop, said, watched
from tests.test_words import OF_SCANS, fields_of

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


# Sentences as the server tells them: of several items, of one of two, of the picture, and two that are English only.
SAID = """async () => {
    const { messageOf, stepOf } = await import("/page/words.js");
    const said = (code, form, fields, items = [], of = 1) => messageOf({ code, told: { form, fields, items, of } });
    const border = { apart: "0.40", part: "31", taken: "the inner one was taken", value: "0.40" };
    return [
        said("shadow-suspected", "together", { value: "0.12", who: "items 1 to 3 and 5" }, [1, 2, 3, 5], 6),
        said("second-border", "text", border, [2], 2),
        said("picture-soft", "text", { value: "4.2", limit: "2" }),
        said("check-one-axis", "text", { way: "width", off: "+0.41" }),
        said("density-ignored", "text", { why: "is none" }),
        messageOf({ code: "picture-soft", told: null }),
        stepOf({ code: "items-close", step: "", of_photo: true }),
        stepOf({ code: "items-close", step: "", of_photo: false }),
        stepOf({ code: "picture-soft", step: "", of_photo: true }),
    ];
}"""


# What the scale comes from, and why to look at a place, as the server says them.
SHORT = """async () => {
    const { phrased } = await import("/page/words.js");
    const { placesOf } = await import("/page/lists.js");
    const lines = [
        "round disc 25.02 mm, 201.5 x 201.4 dpi",
        "ring card (single, a4), measured 53.9 x 53.8 mm, 300.0 x 301.1 dpi",
        "ring card (mat, a4), not measured, about 5.1 px per mm on the card",
        "scanner desk of 2026-03-01, 300.0 x 300.1 dpi",
        "“No reference: density” (300 dpi), 300.0 x 300.0 dpi",
    ];
    const places = [
        { at: [0, 0], code: "room-short", title: "Little room" },
        { at: [90, 90], code: null, title: "Item 1: least sure edge, ±0.001 mm" },
    ];
    return [...lines.map(phrased), ...placesOf({ said: [], places }).map(({ title }) => title)];
}"""
IN_GERMAN = [  # by hand
    "runde Scheibe 25,02 mm, 201,5 x 201,4 dpi",
    "Ringkarte (einzeln, a4), gemessen 53,9 x 53,8 mm, 300,0 x 301,1 dpi",
    "Ringkarte (Matte, a4), nicht gemessen, etwa 5,1 px je mm auf der Karte",
    "Scanner desk vom 2026-03-01, 300,0 x 300,1 dpi",
    "„Kein Bezug: Dichte“ (300 dpi), 300,0 x 300,0 dpi",
    "Wenig Platz",
    "Teil 1: unsicherste Kante, ±0,001 mm",
]


def flat(told, at=""):
    if isinstance(told, dict):
        return {one for key, value in told.items() for one in flat(value, f"{at}.{key}")}
    if isinstance(told, list) and any(isinstance(one, list | dict) for one in told):
        return {one for n, value in enumerate(told) for one in flat(value, f"{at}.{n}")}
    return {f"{at} {told}"}


@browser
def test_both_languages_say_the_same_things_with_the_same_figures(page):
    told = page.evaluate(SHAPE)
    english, german = flat(told["en"]), flat(told["de"])
    assert len(english) > 250
    assert english ^ german == set()
    written = (PAGE / "index.html").read_text("utf-8")
    named = set(re.findall(r'data-(?:say|label|role)="(\w+)"', written))
    assert named == set(told["en"]["page"])
    rest = re.sub(r"<(title|h1|code)\b.*?</\1>|<[^>]+>", "", written)  # the program's own name, and what is typed
    assert re.findall(r"[A-Za-z]{2,}", rest) == []


def test_every_word_of_a_group_is_named_by_the_code():
    said = (PAGE / "words.en.js").read_text("utf-8")
    groups = dict(re.findall(r"^export const (\w+) = \{\n(.*?)\n\};", said, re.DOTALL | re.MULTILINE))
    named = set()
    for path in PAGE.glob("*.js"):
        code = "" if path.name.startswith("words.") else path.read_text("utf-8")
        also = re.search(r"\b(\w+) as words\b", code)  # of one group, as the module calls it
        for group, word in re.findall(r"\b(\w+)\??\.(\w+)", code):
            named.add((also[1] if also and group == "words" else group, word))
    for group in ("say", "plate", "before", "calipers", "card", "folder"):
        words = re.findall(r"^  (\w+): ", groups[group], re.MULTILINE)
        assert len(words) > 2, group
        assert [word for word in words if (group, word) not in named] == [], group


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


def test_german_next_steps_of_photos_speak_of_no_scanner():
    text = (PAGE / "words.de.server.js").read_text("utf-8")
    part = re.search(r"const photoSteps = \{\n(.*?)\n\};", text, re.DOTALL)[1]
    own = dict(re.findall(r'^  "?([\w-]+)"?: "(.*)",$', part, re.MULTILINE))
    assert len(own) == part.count("\n") + 1
    for code, step in own.items():
        assert MESSAGES[code].photo_step, code  # in English too it is another than a scan's
        assert step.endswith("."), code
    told = {code: own.get(code, step) for code, (_, step) in table("said").items()}
    assert {code for code, step in told.items() if re.search("[Ss]can|Glas|dpi", step)} - OF_SCANS == {
        "square-not-as-said",  # flach drücken, mit einer Glasplatte
    }
    assert told["thin-strip"].startswith("Matte und Objektiv putzen;")


# What an English sentence names without a figure's form and is the same in German: names, sizes, whole numbers; or
# words that the German file has.
SAME = {"said", "seen", "name", "names", "holes", "count", "paths", "taken", "edge", "who", "way"}


def sentences():
    """The German sentences, by code and form."""
    text = (PAGE / "words.de.said.js").read_text("utf-8")
    part = re.search(r"const sentences = \{\n(.*?)\n\};", text, re.DOTALL)[1]
    rows = re.findall(r'^  "?([\w-]+)"?: \{(.*?)\},$', part, re.DOTALL | re.MULTILINE)
    found = {code: dict(re.findall(r'"?(\w[\w ]*)"?: "(.*?)"[,\s]', f"{forms} ")) for code, forms in rows}
    assert sum(map(len, found.values())) == part.count(': "')
    return found, dict(re.findall(r'^  "?([\w ]+)"?: "(.*?)",$', text[text.index("const values") :], re.MULTILINE))


def test_german_sentences_say_the_figures_of_the_english_ones_and_nothing_else():
    german, values = sentences()
    assert len(german) > 60
    names = {name for name, _ in table("fields").values()}
    for code, forms in german.items():
        for form, text in forms.items():
            english = fields_of(texts_of(code)[form])
            named = set(re.findall(r"\{(\w+)\}", text))
            assert named <= set(english), (code, form)
            assert {name for name, spec in english.items() if spec} <= named, (code, form)
            assert {name for name in named if not english[name]} <= SAME, (code, form)
            assert set(re.findall("„(.*?)“", text)) <= names, (code, form)
            assert re.search(r"[.:] ?(\{who\}\.)?$", text), (code, form)
            assert "--" not in text, (code, form)
    assert {"width", "height", "inner", "outer", "the inner one was taken", "a line between them was taken"} <= set(
        values
    )


@pytest.fixture
def german(visit):
    """A page of a browser that is set to German."""
    context, address = visit
    own = context.browser.new_context(
        viewport={"width": 1280, "height": 720}, locale="de-CH", storage_state=context.storage_state()
    )
    with contextlib.closing(own), watched(own, address, refused="422") as page:
        yield page


@browser
def test_the_browsers_language_is_spoken_and_another_one_is_remembered(german, scan):
    page = german
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
    assert page.evaluate(SHORT) == IN_GERMAN
    told = page.evaluate(SAID)
    assert told[0] == "Schatten ringsum, bis zu 0,12 mm zu groß: Teile 1 bis 3 und 5."
    assert told[1].startswith("Teil 2: Das Teil hat zwei Ränder, 0,40 mm auseinander, auf 31 % seiner Kante (")
    assert told[1].endswith("der innere wurde genommen; das kann um 0,40 mm falsch sein.")
    assert told[2] == "Das Foto ist unscharf: Kanten sind 4,2 px breit, gut sind 2."
    assert told[3].startswith("Entlang der Breite des Bildes weichen Größen um +0,41 % ab, quer dazu stimmen sie:")
    assert told[4:6] == [None, None]
    assert told[6:] == [
        "Die Teile weiter auseinanderlegen und neu fotografieren.",
        "Die Teile weiter auseinanderlegen und neu scannen.",
        "Zum Scharfstellen auf die Karte tippen, das Telefon ruhig halten und neu aufnehmen.",
    ]
    page.get_by_label("Größen").select_option("mm und Zoll")
    # 24 mm are 0.9449 in, an inch being 25.4 mm
    expect(page.locator("#items")).to_contain_text(re.compile(r"\(0,94\d+ x 0,94\d+ in\)"), timeout=PATIENCE_MS)
    page.get_by_label("Sprache").select_option("English")
    expect(page.get_by_label("Plain square")).to_be_visible(timeout=PATIENCE_MS)
    said(page, "2 items")  # the same picture, its steps and its options
    expect(page.locator("#items")).to_contain_text(re.compile(r"24\.0\d x 24\.0\d mm.*\(0\.94\d+ x 0\.94\d+ in\)"))
    again = page.context.new_page()
    again.goto(page.url)
    assert again.locator("html").get_attribute("lang") == "en"
