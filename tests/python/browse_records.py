"""What pages of records do in a browser besides what every page does: drawings, and filters that show what has what was chosen."""

from selenium.webdriver.support.ui import Select


def is_records(visit):
    return visit.js("return Boolean(document.getElementById('filters'))")


def use(visit):
    figures = visit.js(
        "return [...document.querySelectorAll('figure[id]')].map((f) => [f.id, f.querySelectorAll('.wide svg path, .wide svg rect').length])")
    visit.expect(figures and all(count > 5 for _, count in figures), f"nothing is drawn: {figures}")
    rows = [line.split("|") for line in visit.js("return document.getElementById('rows').textContent").split("\n")]
    form = visit.driver.find_element("id", "filters")
    visit.expect(form.is_displayed(), "the filters are not there")
    shown = (
        "const rows = [...document.querySelectorAll('tr[data-row]')];"
        "return rows.filter((r) => getComputedStyle(r).display !== 'none').map((r) => Number(r.dataset.row))")
    faint = (
        "const marks = [...document.querySelectorAll('.wide path[data-row]')].filter((m) => Number(m.dataset.row) < arguments[0]);"
        "return marks.filter((m) => Number(getComputedStyle(m).fillOpacity) < 0.2).map((m) => Number(m.dataset.row))")
    every = set(visit.js(shown))
    drawn = set(visit.js(
        "return [...document.querySelectorAll('.wide path[data-row]')].map((m) => Number(m.dataset.row)).filter((n) => n < arguments[0])",
        len(rows)))
    visit.expect(every and not visit.js(faint, len(rows)), "before anything is chosen, something is hidden")
    for place, element in enumerate(form.find_elements("css selector", "select")):
        select, name = Select(element), element.get_attribute("name")
        for option in range(1, min(len(select.options), 3)):
            value = select.options[option].get_attribute("value")
            select.select_by_index(option)
            fits = {number for number, row in enumerate(rows) if row[place] == value}
            lines, marks = set(visit.js(shown)), set(visit.js(faint, len(rows)))
            visit.expect(lines == every & fits, f"{name} {value}: other lines are shown than have it")
            visit.expect(marks == drawn - fits, f"{name} {value}: other marks are faint than those that do not have it")
            output = form.find_element("css selector", "output").text
            visit.expect(output.startswith(f"{len(fits)} of {len(rows)} shown"), f"{name} {value}: {output!r}, {len(fits)} have it")
        select.select_by_index(0)
    visit.expect(set(visit.js(shown)) == every, "with all chosen again, something stays hidden")
