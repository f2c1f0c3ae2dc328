"""The page in a real browser, 360 px wide, as a thumb uses it. One Chromium for all of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from tests.cli.bench import Bench
from tests.drawing import FULL
from tests.store.book.test_photographs import picture
from tests.web.browser import Served, chromium, needs_browser, wait_for
from tests.web.rig import Page

from straycell.web.entry import FORMS

pytestmark = needs_browser
AXE = Path(__file__).parent / "vendor" / "axe.min.js"
WIDTHS_PX = (360, 768, 1280)
SCHEMES = ("light", "dark")
HEIGHT_PX = 740
# Said as often as it takes: a busy machine's first try may still meet the closed door.
ONLINE = "dispatchEvent(new Event('online'))"


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The browser; each test starts without cookies and with what it keeps emptied."""
    with chromium(tmp_path_factory.mktemp("chromium")) as started:
        yield started


class Phone:
    """A paired phone: it counts the taps, digits of a number key apart."""

    def __init__(self, driver: Any, served: Served, code: str) -> None:
        self.driver, self.served, self.taps = driver, served, 0
        self.screen(360)
        driver.execute_cdp_cmd(
            "Storage.clearDataForOrigin", {"origin": served.address, "storageTypes": "all"}
        )
        driver.get(f"{served.address}/pair?code={code}")
        self.type("name", "phone")
        self.tap("button.main")
        wait_for(lambda: self.path == "/")

    @property
    def path(self) -> str:
        return str(self.driver.current_url).removeprefix(self.served.address).partition("#")[0]

    def screen(self, width: int, scheme: str = "light") -> None:
        """A screen of this width, in light or dark."""
        metrics = {"width": width, "height": HEIGHT_PX, "deviceScaleFactor": 1, "mobile": width < 700}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        media = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", media)

    def open(self, path: str) -> None:
        self.driver.get(self.served.address + path)
        self._ready()

    def again(self) -> None:
        """The same page, asked for once more."""
        self.driver.refresh()
        self._ready()

    def _ready(self) -> None:
        # The driver comes back at times before the page's script has run.
        wait_for(lambda: self.script("return document.readyState === 'complete'"))

    def find(self, selector: str) -> Any:
        return wait_for(lambda: self.driver.find_elements("css selector", selector))[0]

    def tap(self, selector: str) -> None:
        """One tap in the middle of something."""
        found = self.find(selector)
        self.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        self.taps += 1
        self.driver.execute_script(
            "arguments[0].click()", found
        ) if found.tag_name == "input" else found.click()

    def type(self, name: str, text: str) -> None:
        self.find(f"[name={name}]").send_keys(text)

    def script(self, text: str) -> Any:
        return self.driver.execute_script(text)

    @property
    def words(self) -> str:
        return str(self.find("body").text)


@pytest.fixture
def page(bench: Bench) -> Page:
    """The page under the address of this machine; nobody is paired yet."""
    return Page(bench, hosts=("127.0.0.1",))


@pytest.fixture
def served(page: Page) -> Iterator[Served]:
    """The page on a port."""
    made = Served(page)
    yield made
    made.stop()


@pytest.fixture
def phone(driver: Any, served: Served, page: Page) -> Phone:
    """A phone that was paired with the code of the terminal."""
    return Phone(driver, served, page.codes[-1])


def quantities(bench: Bench, code: str) -> list[str]:
    return [reading["quantity"] for reading in bench.do(f"cell show {code}")["readings"]]


def test_from_the_label_to_a_recorded_rest_voltage_in_six_taps(phone: Phone, bench: Bench, code: str) -> None:
    """The label's address shows what the cell may do; figures are typed on the phone's number keys."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    phone.open(f"/{code}")
    assert "HOLD" in phone.words and "not decided yet" in phone.words
    phone.taps = 0
    phone.tap(f"a[href='/cell/{code}/record/rest']")
    wait_for(lambda: phone.script("return document.activeElement.name") == "voltage_v")
    phone.driver.switch_to.active_element.send_keys("3.712")
    phone.tap("input[name=rested_s][value='12h']")
    phone.tap("[name=temperature_c]")
    phone.type("temperature_c", "21")
    phone.tap("[name=meter]")
    phone.tap("[name=meter] option:nth-child(2)")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: phone.path == f"/cell/{code}")
    assert phone.taps <= 6
    (rest,) = (r for r in bench.do(f"cell show {code}")["readings"] if r["quantity"] == "voltage")
    assert (rest["value"], rest["rested_h"], rest["temperature_c"], rest["meter"]) == (
        3.712,
        12.0,
        21.0,
        "hand",
    )
    phone.open(f"/cell/{code}/record/rest")
    assert phone.script("return document.forms[0].elements.meter.value") == "hand", (
        "the meter in hand is remembered"
    )


def test_an_evening_of_five_cells_on_a_narrow_screen(phone: Phone, bench: Bench, tmp_path: Path) -> None:
    """Each label is photographed, the cell looked at and measured; nothing runs out of the screen."""
    made = bench.do("cell add --teardown AT1 --pack 2 --form 18650 --chemistry nmc --count 5")
    for cell in made:
        label = tmp_path / f"{cell['code']}.png"
        bench.do(f"label single {cell['code']} --dpi 300 --out {label}")
        phone.open("/")
        phone.type("photo", str(label))
        wait_for(lambda at=f"/cell/{cell['code']}": phone.path == at)
        phone.tap("section a.button.main")
        phone.tap("input[name=look][value=clean]")
        phone.tap("form[data-keep] button.main")
        wait_for(lambda at=f"/cell/{cell['code']}": phone.path == at)
        phone.tap(f"a[href='/cell/{cell['code']}/record/found']")
        phone.type("as_found_voltage_v", "3,61")
        phone.tap("form[data-keep] button.main")
        wait_for(lambda at=f"/cell/{cell['code']}": phone.path == at)
        assert phone.script("return document.documentElement.scrollWidth <= innerWidth")
    assert [quantities(bench, cell["code"]) for cell in made] == [["look", "as-found-voltage"]] * 5


def test_what_is_typed_without_network_is_sent_later_and_once(
    phone: Phone, served: Served, bench: Bench, code: str
) -> None:
    """The page says that it is old, keeps two readings over a reload, and sends both when the bench is back."""
    path = f"/cell/{code}/record/mass"
    phone.open(f"/cell/{code}")
    phone.open(path)
    wait_for(lambda: phone.script("return navigator.serviceWorker.controller !== null"))
    phone.open(f"/cell/{code}")
    phone.open(path)
    served.stop()
    for grams in ("45.1", "45.2"):
        phone.find("[name=mass_g]").clear()
        phone.type("mass_g", grams)
        phone.tap("form[data-keep] button.main")
        wait_for(lambda: phone.script("return document.querySelector('[name=mass_g]').value") == "")
    assert phone.words.count("kept on this device, not sent yet") == 2
    phone.open(f"/cell/{code}")
    assert code in phone.words, "the page that was opened before is there without a network"
    wait_for(lambda: "No network. This page shows what was known at" in phone.words)
    assert quantities(bench, code) == []
    served.start()
    for _ in range(2):
        wait_for(lambda: phone.script(ONLINE) or "kept on this device" not in phone.words)
    # Sorted: their ages are taken off a clock that stands still here, so their order is the network's.
    values = sorted(reading["value"] for reading in bench.do(f"cell show {code}")["readings"])
    assert values == [45.1, 45.2]


def test_a_photograph_taken_without_network_is_sent_later_and_once(
    phone: Phone, served: Served, bench: Bench, code: str, tmp_path: Path
) -> None:
    """It outlives a reload of the page; where the browser keeps none, it is said at once and nothing is pretended."""
    path = f"/cell/{code}/photograph"
    phone.open(path)
    wait_for(lambda: phone.script("return navigator.serviceWorker.controller !== null"))
    phone.open(path)
    served.stop()
    phone.script("IDBFactory.prototype.open = () => { throw new DOMException('', 'QuotaExceededError'); }")
    phone.type("photo", str(picture(tmp_path / "dent.jpg")))
    wait_for(lambda: "this device cannot keep the photograph" in phone.find("#refusal").text)
    assert not phone.find("#outbox").is_displayed()
    phone.again()
    phone.type("photo", str(picture(tmp_path / "dent.jpg")))
    wait_for(lambda: "kept on this device, not sent yet" in phone.words)
    phone.again()
    wait_for(lambda: "kept on this device, not sent yet" in phone.words)
    assert bench.do(f"cell show {code}")["photographs"] == []
    served.start()
    for _ in range(2):
        wait_for(lambda: phone.script(ONLINE) or "not sent yet" not in phone.words)
    assert len(bench.do(f"cell show {code}")["photographs"]) == 1
    left = phone.driver.execute_async_script(
        "const done = arguments[0]; const o = indexedDB.open('straycell-photographs'); o.onsuccess = () => {"
        "const r = o.result.transaction('kept').objectStore('kept').count(); r.onsuccess = () => done(r.result); }"
    )
    assert left == 0


def test_what_happened_without_network_is_recorded_later(
    phone: Phone, served: Served, bench: Bench, code: str
) -> None:
    """A short circuit typed in the cellar: kept, sent once, and the cell is out of use."""
    phone.open(f"/cell/{code}/incident")
    served.stop()
    phone.tap("input[name=kind][value='short-circuit']")
    phone.type("note", "against the vice")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: "not sent yet" in phone.words)
    served.start()
    wait_for(lambda: phone.script(ONLINE) or "not sent yet" not in phone.words)
    assert bench.do(f"cell show {code}")["outcome"] == "discard"
    verbs = [event["verb"] for event in bench.do(f"cell history {code}")]
    assert len([verb for verb in verbs if "incident" in verb]) == 1, verbs
    phone.open(f"/cell/{code}")
    assert phone.find(".danger-screen").is_displayed() and f"{code} is now DISCARD" in phone.words


def test_what_is_refused_later_stays_and_is_opened_again(
    phone: Phone, served: Served, bench: Bench, code: str
) -> None:
    """A slip typed without network: the reason beside it, and the form with what was typed."""
    phone.open(f"/cell/{code}/record/mass")
    served.stop()
    phone.type("mass_g", "4500000")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: "kept on this device" in phone.words)
    served.start()
    phone.script("dispatchEvent(new Event('online'))")
    wait_for(lambda: "cannot be right" in phone.words)
    phone.tap("#outbox a")
    phone.again()
    assert wait_for(lambda: phone.find("[name=mass_g]").get_attribute("value")) == "4500000"
    phone.find("[name=mass_g]").clear()
    phone.type("mass_g", "45")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: phone.path == f"/cell/{code}")
    assert quantities(bench, code) == ["mass"]


def test_what_appears_by_itself_moves_no_button(phone: Phone, served: Served, code: str) -> None:
    """The bar of a lost network comes while a finger is on its way."""
    phone.open(f"/cell/{code}/record/mass")
    place = "return document.querySelector('button.main').getBoundingClientRect().top"
    before = phone.script(place)
    served.stop()
    phone.script("dispatchEvent(new Event('offline'))")
    wait_for(lambda: phone.find("#stale").is_displayed())
    assert phone.script(place) == before


def test_a_form_that_became_old_says_what_changed_and_keeps_what_was_typed(
    phone: Phone, bench: Bench, code: str
) -> None:
    """Two people at one store."""
    phone.open(f"/cell/{code}/record/mass")
    bench.do(f"reading add {code} --look clean")
    phone.type("mass_g", "45")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: "has changed since this page was opened" in phone.find("#refusal").text)
    assert phone.find("[name=mass_g]").get_attribute("value") == "45"
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: phone.path == f"/cell/{code}")
    assert quantities(bench, code) == ["look", "mass"]


def test_after_a_refusal_the_keyboard_has_letters_for_a_unit(phone: Phone, bench: Bench, code: str) -> None:
    """A hot cell: 65 is asked for its unit, and a phone's number keys have no C."""
    phone.open(f"/cell/{code}/record/warmth")
    phone.type("temperature_c", "65")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: "65C" in phone.find("#fault-temperature_c").text)
    keys = {
        name: phone.find(f"[name={name}]").get_attribute("inputmode")
        for name in ("temperature_c", "surroundings_c")
    }
    assert keys == {"temperature_c": "text", "surroundings_c": "decimal"}
    phone.type("temperature_c", "C")
    phone.tap("form[data-keep] button.main")
    wait_for(lambda: phone.path == f"/cell/{code}")
    assert quantities(bench, code) == ["temperature"]


def test_a_danger_fills_the_screen(phone: Phone, code: str) -> None:
    """Whatever lay below is out of sight until it was read."""
    phone.open(f"/cell/{code}/record/look")
    phone.tap("input[name=look][value=leaking]")
    phone.tap("form[data-keep] button.main")
    box = phone.driver.execute_script(
        "return arguments[0].getBoundingClientRect().toJSON()", phone.find(".danger-screen")
    )
    assert box["top"] <= 0 and box["left"] <= 0 and box["width"] >= 360 and box["bottom"] >= 0.9 * HEIGHT_PX
    phone.tap(".danger-screen a.button")
    wait_for(lambda: "DISCARD" in phone.words)


def test_what_comes_due_is_counted_down(phone: Phone, bench: Bench, code: str) -> None:
    """On the bench's clock: the first check after a charge, within the week."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    bench.do(f"charge add {code} --current 0.5A --until 4.2V --temperature 21C --peak-temperature 24C")
    bench.now = "2026-03-14T12:00:00+00:00"
    coming = bench.do("due --ahead 7")["later"]
    phone.open("/due")
    shown = wait_for(
        lambda: phone.script(
            "return [...document.querySelectorAll('time[data-until]')].map(t => t.textContent)"
        )
    )
    assert coming and len(shown) == len(coming)
    hours = (
        datetime.fromisoformat(coming[0]["due_at"]) - datetime.fromisoformat(bench.now)
    ).total_seconds() / 3600
    left = f"{hours // 24:.0f} d left" if hours >= 48 else f"{hours:.0f} h 0 min left"
    assert left in shown[0]


AUDIT = """
const done = arguments[arguments.length - 1];
axe.run(document, {resultTypes: ["violations"]}).then((found) => done(found.violations.map(
  (each) => each.id + ": " + each.nodes.map((node) => node.html.slice(0, 90)).join(" | "))));
"""
SMALL = """
return [...document.querySelectorAll("a, button, input:not([type=hidden]), select, summary")].filter((each) => {
  const box = each.getBoundingClientRect();
  return box.width > 1 && box.height > 1 && box.height < 47.5 && !each.closest(".skip");
}).map((each) => each.outerHTML.slice(0, 90));
"""


class Audit:
    """Looks at one page after the other and collects what is wrong with it."""

    def __init__(self, phone: Phone) -> None:
        self.phone, self.wrong, self.seen = phone, [], 0  # type: Phone, list[str], int
        self.script = AXE.read_text(encoding="utf-8")

    def look(self, name: str) -> None:
        """The page that is open: axe-core in light and dark, targets of 48 px, no page wider than its screen."""
        phone = self.phone
        for width in WIDTHS_PX:
            phone.screen(width)
            if not phone.script("return document.documentElement.scrollWidth <= innerWidth"):
                self.wrong.append(f"{name} is wider than {width} px")
        phone.screen(360)
        self.wrong += [f"{name}: small target {each}" for each in phone.script(SMALL)]
        phone.script(self.script)
        self.seen += 1
        # Where few are drawn each page is audited in one scheme, light or dark by turns.
        for scheme in SCHEMES if FULL else SCHEMES[self.seen % 2 :][:1]:
            phone.screen(360, scheme)
            found = phone.driver.execute_async_script(AUDIT)
            self.wrong += [f"{name} {scheme}: {fault}" for fault in found]

    def open(self, *paths: str) -> None:
        for path in paths:
            self.phone.screen(360)
            self.phone.open(path)
            self.look(path)


def test_no_page_of_a_cell_has_a_fault_that_an_audit_finds(
    phone: Phone, bench: Bench, code: str, tmp_path: Path
) -> None:
    """Every form, the dangers, the intake with a question, the hand-over that is asked twice."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    bench.do(f"cell photo {code} {picture(tmp_path / 'dent.jpg')}")
    bench.do(f"charge add {code} --current 0.5A --until 4.2V --temperature 21C --peak-temperature 24C")
    (other,) = bench.do("cell add --teardown AT1 --pack 1 --form 18650 --chemistry nmc")
    bench.do(f"discard {other['code']} --because 'fell into the stove'")
    audit = Audit(phone)
    audit.open("/", "/find?q=vacuum", "/due", "/boxes", "/box?name=tin", "/pictures", "/projects", "/intake")
    audit.open("/handovers", "/device", "/nothing", f"/cell/{other['code']}", f"/cell/{code}/photograph")
    audit.open(f"/cell/{code}", *(f"/cell/{code}/record/{name}" for name in FORMS))
    audit.open(*(f"/cell/{code}/{name}" for name in ("incident", "discard", "move")))
    phone.open(f"/cell/{code}/discard")
    phone.type("because", "a dent beside the plus end")
    phone.tap("button.stop")
    audit.look("discard, asked")
    phone.tap("button.stop.main")
    wait_for(lambda: phone.driver.find_elements("css selector", ".danger-screen ul"))
    audit.look("danger")
    phone.open("/handovers")
    phone.type("place", "collection point")
    phone.tap("button.main")
    phone.tap(".card form button")
    audit.look("hand-over, asked")
    phone.open("/intake")
    phone.tap("form[action='/intake/begin'] button.main")
    phone.find("#text")
    audit.look("intake, a question")
    assert not audit.wrong, "\n".join(audit.wrong)


BEYOND = """
return [...document.querySelectorAll("main *")].filter((each) => each.getBoundingClientRect().right > innerWidth + 1)
  .map((each) => each.outerHTML.slice(0, 90));
"""


def test_long_words_stay_on_the_screen(phone: Phone, bench: Bench, code: str) -> None:
    """A marking, a box and a search of one word that is wider than any screen here: on no page does it run out."""
    word = "Wiederaufbereitungsanlagenverschlusskappe" + "x" * 30
    bench.prepare(f"box add {word}")
    bench.prepare(f"cell correct {code} --marking {word} --because misread")
    bench.prepare(f"cell move {code} {word}")
    bench.prepare(f"incident add {code} --kind drop --note {word}")
    paths = [
        f"/cell/{code}",
        f"/cell/{code}/move",
        f"/cell/{code}/record/mass",
        f"/find?q={word[:9]}",
        f"/find?q={word}y",
    ]
    for path in [*paths, "/boxes", f"/box?name={word}", "/due"]:
        phone.open(path)
        phone.script("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        for width in WIDTHS_PX:
            phone.screen(width)
            assert not phone.script(BEYOND), (path, width)
            assert phone.script("return document.documentElement.scrollWidth <= innerWidth"), (path, width)


@pytest.fixture
def workshop(driver: Any, sample_copy: Bench) -> Iterator[tuple[Phone, Bench]]:
    """A phone in the sample workshop."""
    page = Page(sample_copy, hosts=("127.0.0.1",))
    served = Served(page)
    yield Phone(driver, served, page.codes[-1]), sample_copy
    served.stop()


def test_no_page_of_a_project_has_a_fault_that_an_audit_finds(workshop: tuple[Phone, Bench]) -> None:
    """Served, not served, reserved, and the pick list with its right and its wrong answer."""
    phone, bench = workshop
    names = [each["name"] for each in bench.do("project list")]
    build = bench.do("build reserve 'bird-box camera'")
    audit = Audit(phone)
    audit.open("/projects", "/handovers", *(f"/project?name={quote(name)}" for name in names))
    pick = f"/pick?name={quote(build['project'])}"
    audit.open(pick)
    for cell in (build["groups"][-1][-1], build["groups"][0][0]):
        phone.screen(360)
        phone.open(pick)
        phone.type("code", cell)
        phone.tap("button.typed:not([hidden])")
        wait_for(lambda: phone.driver.find_elements("css selector", ".good-screen, .bad-screen"))
        audit.look(f"pick {cell}")
    assert not audit.wrong, "\n".join(audit.wrong)


def test_a_pick_list_refuses_a_wrong_cell_and_goes_on_with_the_right_one(
    workshop: tuple[Phone, Bench],
) -> None:
    """Red with where it belongs, and the same position again; green, and the next one; nothing is written."""
    phone, bench = workshop
    build = bench.do("build reserve 'bird-box camera'")
    codes, before = [code for group in build["groups"] for code in group], bench.store.read_bytes()
    phone.open(f"/pick?name={quote(build['project'])}")
    for typed, right in ((codes[1], False), (codes[0], True)):
        assert f"1a: {codes[0]}" in phone.find("h1").text
        phone.type("code", typed)
        phone.tap("button.typed:not([hidden])")
        shown = phone.find(".good-screen" if right else ".bad-screen")
        assert (f"{typed} is right here" if right else "it belongs at") in shown.text
    assert codes[1] in phone.find("h1").text and bench.store.read_bytes() == before


def test_a_discard_is_asked_twice_and_can_be_left_both_times(phone: Phone, bench: Bench, code: str) -> None:
    """The first tap asks for the reason again, the way back keeps the cell, the second yes is final."""
    path = f"/cell/{code}/discard"
    for keep in (True, False):
        phone.open(path)
        phone.type("because", "a dent beside the plus end")
        phone.tap("button.stop")
        assert "No later reading brings it back." in phone.find(".danger-screen").text
        assert bench.do(f"cell show {code}")["outcome"] == "hold"
        phone.tap(".danger-screen a.button" if keep else ".danger-screen button.stop")
        if keep:
            wait_for(lambda: phone.path == f"/cell/{code}")
    wait_for(lambda: "a dent beside the plus end" in phone.words)
    assert bench.do(f"cell show {code}")["outcome"] == "discard"


def test_the_page_is_dark_where_the_device_is(phone: Phone, code: str) -> None:
    """Light letters on a dark ground, and the other way round; the outcome keeps its own sign in both."""
    for scheme, dark in (("dark", True), ("light", False)):
        phone.screen(360, scheme)
        phone.open(f"/cell/{code}")
        ground, ink = phone.script(
            "const s = getComputedStyle(document.body);"
            "return [s.backgroundColor, s.color].map((c) => c.match(/\\d+/g).slice(0, 3).reduce((a, n) => a + +n, 0))"
        )
        assert (ground < ink) is dark
        assert phone.find(".outcome .sign").text.strip()


CAMERA = """
window.BarcodeDetector = class {
  constructor(options) { if (options.formats[0] !== "qr_code") throw new TypeError(); this.looks = 0; }
  async detect(video) {
    if (!(video.srcObject && video.srcObject.active)) throw new TypeError("no camera");
    return ++this.looks < 3 ? [] : [{ rawValue: "HTTPS://BENCH.EXAMPLE/%s" }];
  }
};
"""


def test_a_live_camera_finds_a_cell_where_the_browser_can_read_it(
    phone: Phone, page: Page, bench: Bench, code: str
) -> None:
    """The browser's own reader gives the label's address; the camera is let go. Without one nothing is offered."""
    phone.open("/")
    assert not phone.find("[data-live]").is_displayed(), "this browser has no reader of its own"
    added = phone.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": CAMERA % code})
    try:
        phone.open("/")
        phone.tap("[data-live]")
        wait_for(lambda: phone.path == f"/cell/{code}")
        phone.open("/box?name=tin")
        phone.tap("[data-live]")
        wait_for(lambda: f"{code} now lies in tin" in phone.words)
    finally:
        phone.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)
    assert bench.do(f"cell show {code}")["box"] == "tin"


def test_a_photograph_of_a_dent_is_seen_on_the_cells_page(
    phone: Phone, bench: Bench, code: str, tmp_path: Path
) -> None:
    """Chosen, scaled, kept and shown: the picture itself is loaded."""
    phone.open(f"/cell/{code}")
    phone.tap(f"a[href='/cell/{code}/photograph']")
    phone.type("photo", str(picture(tmp_path / "dent.jpg")))
    wait_for(lambda: phone.path == f"/cell/{code}")
    shown = phone.find(".pictures img")
    phone.script("document.querySelector('.pictures img').scrollIntoView()")
    wait_for(lambda: phone.driver.execute_script("return arguments[0].naturalWidth", shown) == 1600)


def test_a_charge_that_was_begun_is_counted_down_on_its_page(phone: Phone, bench: Bench, code: str) -> None:
    """By the bench's clock."""
    bench.do(f"reading add {code} --look clean --as-found-voltage 3.7V --meter hand")
    phone.open(f"/cell/{code}/record/charge")
    phone.tap(f"form[action='/charge/{code}'] button")
    timer = wait_for(lambda: phone.driver.find_elements("css selector", ".timer time[data-until]"))[0]
    assert wait_for(lambda: "0 h 30 min left" in timer.text)
