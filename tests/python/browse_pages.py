"""Opens pages of the program in a real browser and uses them as people do.

    python browse_pages.py [--keep] FOLDER [--numbers PAGE.html] PAGE.html [PAGE.html ...]

Of the page after --numbers the numbers alone are read, and with --keep all looks taken. Prints one line a finding that should not be; the
last line is "done". Prints are left in FOLDER, and with --keep pictures of every look. Needs Debian's
chromium and chromium-driver, selenium, and the accessibility rules of axe-core.
"""

import base64
import importlib.resources
import json
import pathlib
import shutil
import struct
import sys
import time
import xml.etree.ElementTree

import read_numbers
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

import browse_records

AXE = importlib.resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def browser(folder):
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser")
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    options.add_experimental_option("prefs", {"download.default_directory": str(folder)})
    service = webdriver.ChromeService(executable_path=shutil.which("chromedriver"))
    return webdriver.Chrome(options=options, service=service)


class Visit:
    def __init__(self, driver, page, folder, keep):
        self.driver, self.page, self.folder, self.keep = driver, page, folder, keep
        self.called = page.parent.name if page.stem == "report" else page.stem

    def wrong(self, words):
        print(f"{self.page.name}: {words}", flush=True)

    def expect(self, holds, words):
        if not holds:
            self.wrong(words)

    def js(self, script, *arguments):
        return self.driver.execute_script(script, *arguments)

    def look(self, name, width, dark=False):
        """Sets the width and the colour scheme and checks what must hold in each."""
        scheme = "dark" if dark else "light"
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600})
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {
            "features": [{"name": "prefers-color-scheme", "value": scheme}]})
        wide = self.js("return document.documentElement.scrollWidth - innerWidth")
        self.expect(wide <= 0, f"{name}: {wide} px wider than the screen")
        # Once with all that is folded away open and every rule; in the other looks what depends on the look.
        first = name == "light"
        if first:
            self.js("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        rules = {} if first else {"runOnly": ["color-contrast", "scrollable-region-focusable", "target-size"]}
        if not self.js("return Boolean(window.axe)"):
            self.js(AXE + "; window.axe = axe;")
        found = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, { resultTypes: ['violations'], ...arguments[0] }).then((r) => done(r.violations), (e) => done([{ id: String(e), nodes: [] }]));",
            rules)
        for violation in found:
            nodes = "; ".join(node["html"][:120] for node in violation["nodes"][:3])
            self.wrong(f"{name}: accessibility: {violation['id']} at {len(violation['nodes'])}: {nodes}")
        self.js("document.querySelectorAll('details').forEach((d) => { d.open = false; })")
        if not self.keep:
            return
        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": {
            "x": 0, "y": 0, "width": width, "height": self.js("return document.documentElement.scrollHeight"), "scale": 1}})
        (self.folder / f"{self.called}-{name}.png").write_bytes(base64.b64decode(shot["data"]))

    def plots(self):
        figures = self.driver.find_elements(By.CSS_SELECTOR, "figure[id]")
        told = self.js("return document.documentElement.dataset.plots")
        self.expect(figures and told == str(len(figures)), f"{told} of {len(figures)} plots were made live")
        for figure in figures:
            sizes = self.js(
                "return [...arguments[0].querySelectorAll('.wide .data')].map((g) => [g.querySelectorAll('path, rect').length,"
                " g.getBoundingClientRect().width])", figure)
            name = figure.get_attribute("id")
            self.expect(sizes and all(count > 0 and width > 50 for count, width in sizes), f"{name}: nothing drawn: {sizes}")
        return figures

    def keyboard(self):
        """Reaches the first plot by the tabulator alone, reads out, zooms, moves and goes back."""
        body = self.driver.find_element(By.TAG_NAME, "body")
        self.js("document.activeElement.blur(); scrollTo(0, 0)")
        body.send_keys(Keys.TAB)
        for _ in range(400):
            if self.js("return document.activeElement.getAttribute('role')") == "application":
                break
            ActionChains(self.driver).send_keys(Keys.TAB).perform()
        frame = self.driver.switch_to.active_element
        if frame.get_attribute("role") != "application":
            self.wrong("no plot can be reached by the tabulator")
            return
        output = "return arguments[0].closest('figure').querySelector('output').textContent"
        transform = "return [...arguments[0].querySelectorAll('.data')].map((g) => g.getAttribute('transform'))"
        first = self.js(output, frame)
        self.expect(";" in first and ":" in first, f"the plot in focus reads out nothing: {first!r}")
        frame.send_keys(Keys.ARROW_RIGHT)
        second = self.js(output, frame)
        self.expect(second != first, "an arrow does not move the read-out")
        frame.send_keys("+")
        self.expect(self.js(transform, frame)[0], "plus does not zoom")
        zoomed = self.js(transform, frame)[0]
        frame.send_keys(Keys.SHIFT + Keys.ARROW_RIGHT)
        moved = self.js(transform, frame)[0]
        self.expect(moved and moved != zoomed, f"shift and arrow do not move: {zoomed} then {moved}")
        frame.send_keys("0")
        self.expect(not any(self.js(transform, frame)), "zero does not show the whole")

    def linked(self):
        """Panels with one x axis zoom together; a drag zooms; a double click goes back."""
        frame = self.js("return document.querySelector('#plot-frequency .wide')")
        if frame is None:
            return
        self.js("arguments[0].scrollIntoView({block: 'center'})", frame)
        boxes = self.js("return [...arguments[0].querySelectorAll('.panel')].map((p) => p.dataset.box.split(' ').map(Number))", frame)
        left, top, right, bottom = boxes[0]
        svg = frame.find_element(By.CSS_SELECTOR, "svg")
        rect = svg.rect
        view = [float(v) for v in svg.get_dom_attribute("viewBox").split()]
        scale = rect["width"] / view[2]
        centre = (view[2] / 2, view[3] / 2)
        to = lambda x, y: (int((x - centre[0]) * scale), int((y - centre[1]) * scale))
        middle = 0.5 * (top + bottom)
        chain = ActionChains(self.driver)
        chain.move_to_element_with_offset(svg, *to(left + 0.4 * (right - left), middle)).click_and_hold()
        chain.move_to_element_with_offset(svg, *to(left + 0.6 * (right - left), middle + 2)).release().perform()
        transforms = self.js("return [...arguments[0].querySelectorAll('.data')].map((g) => g.getAttribute('transform'))", frame)
        self.expect(len(transforms) > 1 and all(transforms), f"panels of one axis do not zoom together: {transforms}")
        factor = float(transforms[0].split("(")[1].split()[0]) if transforms[0] else 0
        self.expect(abs(factor - 5) < 0.2, f"a fifth of the axis was drawn over, and the zoom is {factor}")
        ActionChains(self.driver).move_to_element_with_offset(svg, *to(left + 30, middle)).double_click().perform()
        whole = self.js("return [...arguments[0].querySelectorAll('.data')].map((g) => g.getAttribute('transform'))", frame)
        self.expect(not any(whole), "a double click does not show the whole")

    def read_out(self, fit):
        """The read-out of the response is what the fit says at the nearest frequency."""
        curve = fit["curves"]["frequency"]
        frame = self.js("return document.querySelector('#plot-frequency .wide')")
        frame.send_keys(Keys.ARROW_RIGHT)
        text = self.js("return document.querySelector('#plot-frequency output').textContent").replace("−", "-")
        hz = float(text.split()[1])
        db = float(text.split("as measured ")[1].split()[0])
        nearest = min(range(len(curve["f_hz"])), key=lambda k: abs(curve["f_hz"][k] / hz - 1))
        near = curve["gain_db"][max(nearest - 2, 0):nearest + 3]
        self.expect(min(near) - 0.05 <= db <= max(near) + 0.05, f"{text}, and the fit says {near} dB about {hz} Hz")

    def numbers(self, fit):
        """Every number has unit and interval, the digits that its uncertainty bears, and a link to what it means."""
        wrong, read = read_numbers.check(self.js(read_numbers.PAGE), fit)
        for words in wrong:
            self.wrong(words)
        self.expect(read > 20, f"only {read} numbers were read")

    def beside(self):
        """Panels that share their y axis zoom together along it, and a piece marks its place in the whole beside it."""
        frame = self.js("return document.querySelector('#plot-steps .wide')")
        if frame is None:
            return
        frame.send_keys(Keys.ARROW_RIGHT)
        marks = self.js("return [...arguments[0].querySelectorAll('.cursor')].map((c) => c.getAttribute('d'))", frame)
        self.expect(len(marks) == 2 and all(marks), f"a read-out in the piece is not marked in the whole: {marks}")
        alike = self.js(
            "const [a, b] = arguments[0].panels; a.showY(0.2, 0.6); const zoomed = [...b.y]; a.showY(0, 1); return zoomed", frame)
        other = self.js("const p = arguments[0].panels; return p[0].yText === p[1].yText", frame)
        self.expect(not other or alike == [0.2, 0.6], f"panels of one y axis do not zoom together: {alike}")

    def toggles(self):
        """The entries of a legend hide their series, by pointer and by keyboard; nothing else names the series."""
        key = self.js("return document.querySelector('figure[id] .wide .key[role=button]')")
        if key is None:
            self.wrong("no entry of a legend can be pressed")
            return
        hidden = "return [...arguments[0].closest('figure').querySelectorAll('.wide .data [style*=\"none\"]')].length"
        twice = self.js(
            "return [...document.querySelectorAll('figure[id]')].flatMap((f) => [...f.querySelectorAll('.tools button')]"
            ".filter((b) => [...f.querySelectorAll('.key')].some((k) => k.textContent.trim() === b.textContent)))"
            ".map((b) => b.textContent)")
        self.expect(not twice, f"series that a button names beside the legend: {twice}")
        ActionChains(self.driver).move_to_element(key).click().perform()
        self.expect(self.js(hidden, key) > 0 and key.get_attribute("aria-pressed") == "false", "a series cannot be hidden")
        self.js("arguments[0].focus()", key)
        ActionChains(self.driver).send_keys(Keys.SPACE).perform()
        self.expect(self.js(hidden, key) == 0 and key.get_attribute("aria-pressed") == "true", "a hidden series does not come back")

    def saved(self, figure, ending):
        """What the button of this figure leaves, pressed by keyboard."""
        path = self.folder / f"{figure.get_attribute('id')}.{ending}"
        path.unlink(missing_ok=True)
        self.driver.execute_cdp_cmd("Page.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(self.folder)})
        button = self.js(
            "return [...arguments[0].querySelectorAll('.tools button')].find((b) => b.textContent === arguments[1])",
            figure, f"Save {ending.upper()}")
        self.js("arguments[0].focus()", button)
        ActionChains(self.driver).send_keys(Keys.ENTER).perform()
        for _ in range(200):
            if path.exists():
                return path.read_bytes()
            time.sleep(0.02)
        self.wrong(f"{path.name} is not saved")
        return b""

    def pictures(self):
        """The first and the last plot saved, in the dark look: light colours, twice the size, drawn, without what is hidden."""
        figures = self.driver.find_elements(By.CSS_SELECTOR, "figure[id]")
        for figure in figures[:1] + figures[-1:]:
            name = figure.get_attribute("id")
            key = self.js("return arguments[0].querySelector('.wide .key')", figure)
            label = key.text
            keys = self.js("return arguments[0].querySelectorAll('.wide .key').length", figure)
            width, height = self.js("const v = arguments[0].querySelector('.wide svg').viewBox.baseVal; return [v.width, v.height]", figure)
            self.js("arguments[0].dispatchEvent(new MouseEvent('click', { bubbles: true }))", key)
            drawing = self.saved(figure, "svg")
            self.js("arguments[0].dispatchEvent(new MouseEvent('click', { bubbles: true }))", key)
            if drawing:
                root = xml.etree.ElementTree.fromstring(drawing)
                groups = [g for g in root.iter("{http://www.w3.org/2000/svg}g") if "key" in g.get("class", "").split()]
                paths = list(root.iter("{http://www.w3.org/2000/svg}path"))
                size = (float(root.get("width")), float(root.get("height")))
                self.expect(size == (width, height) and len(paths) > 10, f"{name}.svg: {size} px, {len(paths)} paths")
                self.expect(len(groups) == keys - 1 and label not in ["".join(g.itertext()) for g in groups],
                            f"{name}.svg: the hidden entry {label!r} is among {len(groups)} of {keys}")
            picture = self.saved(figure, "png")
            if not picture:
                continue
            self.expect(picture[:8] == b"\x89PNG\r\n\x1a\n" and picture[12:16] == b"IHDR", f"{name}.png is none")
            size = struct.unpack(">II", picture[16:24])
            self.expect(size == (2 * width, 2 * height), f"{name}.png has {size} px for a drawing of {width} by {height}")
            seen = self.driver.execute_async_script("""
                const [data, done] = arguments;
                const picture = new Image();
                picture.onerror = () => done(null);
                picture.onload = () => {
                  const canvas = document.createElement("canvas");
                  [canvas.width, canvas.height] = [picture.naturalWidth, picture.naturalHeight];
                  const context = canvas.getContext("2d");
                  context.drawImage(picture, 0, 0);
                  const { data: bytes } = context.getImageData(0, 0, canvas.width, canvas.height);
                  let white = 0, ink = 0, clear = 0, coloured = 0;
                  for (let k = 0; k < bytes.length; k += 4) {
                    const [r, g, b, a] = bytes.subarray(k, k + 4);
                    if (a < 255) clear += 1;
                    else if (r === 255 && g === 255 && b === 255) white += 1;
                    else if (r < 60 && g < 70 && b < 80) ink += 1;
                    else if (Math.max(r, g, b) - Math.min(r, g, b) > 100) coloured += 1;
                  }
                  done({ white, ink, clear, coloured, all: bytes.length / 4 });
                };
                picture.src = data;
                """, "data:image/png;base64," + base64.b64encode(picture).decode())
            self.expect(seen and seen["clear"] == 0 and 0.4 < seen["white"] / seen["all"] < 0.995 and seen["ink"] > 500
                        and seen["coloured"] > 500, f"{name}.png is blank, dark or see-through: {seen}")

    def paper(self, least_pages=2):
        """Nothing is wider than a sheet of A4 between its margins, and the print has pages."""
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": 680, "height": 970, "deviceScaleFactor": 1, "mobile": False})
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print", "features": [
            {"name": "prefers-color-scheme", "value": "light"}]})
        # Another machine's letters may be wider, so here they stand a twentieth further apart.
        self.js("document.body.style.letterSpacing = '.05em'")
        cut = self.js(
            "return [...document.querySelectorAll('table, figure')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1)"
            ".map((e) => `${e.className || e.id}, ${e.textContent.trim().slice(0, 40)}: ${Math.round(e.getBoundingClientRect().right)} px`)")
        for words in cut:
            self.wrong(f"on paper: cut off at {words}")
        self.js("document.body.style.letterSpacing = ''")
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        pdf = base64.b64decode(self.driver.print_page())
        (self.folder / f"{self.called}.pdf").write_bytes(pdf)
        pages = pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page/")
        self.expect(pdf.startswith(b"%PDF") and len(pdf) > 20_000 and pages >= least_pages, f"the print has {len(pdf)} bytes and {pages} pages")

    def quiet(self):
        for entry in self.driver.get_log("browser"):
            self.wrong(f"console: {entry['level']}: {entry['message']}")
        own = self.page.as_uri()
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                url = message["params"]["request"]["url"]
                if url != own and not url.startswith("data:"):
                    self.wrong(f"asks for {url[:200]}")


def main():
    keep = "--keep" in sys.argv
    words = [word for word in sys.argv[1:] if word != "--keep"]
    numbers = pathlib.Path(words.pop(words.index("--numbers") + 1)).resolve() if "--numbers" in words else None
    folder, *pages = [pathlib.Path(word).resolve() for word in words if word != "--numbers"]
    driver = browser(folder)
    driver.set_script_timeout(120)
    try:
        if numbers:
            driver.get(numbers.as_uri())
            visit = Visit(driver, numbers, folder, keep)
            visit.plots()
            visit.numbers(json.loads(numbers.with_name("fit.json").read_text(encoding="utf-8")))
            if keep:
                for name, width, dark in (("light", 1100, False), ("dark", 1100, True), ("phone", 390, False)):
                    visit.look(name, width, dark)
                visit.paper()
            visit.quiet()
        for page in pages:
            driver.get(page.as_uri())
            visit = Visit(driver, page, folder, keep)
            visit.look("light", 1100)
            of_records = browse_records.is_records(visit)
            # The page of a check is a list: nothing on it is drawn or pressed.
            listed = page.stem == "check"
            if of_records:
                browse_records.use(visit)
            elif not listed:
                visit.plots()
                visit.keyboard()
                visit.linked()
                visit.beside()
                visit.toggles()
            fit = page.with_name("fit.json")
            if fit.exists():
                found = json.loads(fit.read_text(encoding="utf-8"))
                visit.read_out(found)
                visit.numbers(found)
            visit.look("dark", 1100, dark=True)
            # Drawings of records are chosen by filters and have no buttons of their own.
            if not of_records and not listed:
                visit.pictures()
            visit.look("phone", 390)
            visit.paper(least_pages=1 if listed else 2)
            visit.quiet()
    finally:
        driver.quit()
    print("done")


main()
