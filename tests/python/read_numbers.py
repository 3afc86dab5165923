"""Reads the numbers of a report's page and holds each against its fit document.

Digits are those of JCGM 100:2008, 7.2.6: the half width of an interval to two significant digits, value and ends to the same place. This is
worked out here from the fit alone, by decimal arithmetic, and not by the program. Every number must carry its unit and its interval and
link to what it means; a refused result must say why in its place.
"""

import decimal
import re

# What a page says of a unit, and by what the fit's SI value is multiplied (SI prefixes; 1 degree is pi/180 rad).
UNITS = {
    "milliseconds": ("ms", 1e3), "hertz": ("Hz", 1), "newton_metres": ("N·m", 1), "newton_metres_per_millisecond": ("N·m/ms", 1e-3),
    "newton_metres_per_radian": ("N·m/rad", 1), "newton_metre_seconds_per_radian": ("N·m·s/rad", 1),
    "kilogram_square_metres": ("kg·m²", 1), "degrees": ("°", 57.29577951308232), "radians_per_second": ("rad/s", 1), "percent": ("%", 100),
    "millinewtonmetres": ("mN·m", 1e3), "seconds": ("s", 1), "celsius": ("°C", 1), "newtons": ("N", 1), "plain": ("", 1),
}

# One pass over the page: what each row, cell and linked number holds, and what every target of a link holds.
PAGE = r"""
const text = (e) => e.textContent.replace(/\s+/g, ' ').trim();
const links = (e) => [...e.querySelectorAll('a')].map((a) => a.getAttribute('href'));
const rows = [...document.querySelectorAll('table.results tbody tr')].map((tr) => ({
  name: text(tr.querySelector('th')), refused: tr.classList.contains('refused'), nameLinks: links(tr.querySelector('th')),
  cells: [...tr.querySelectorAll('td')].map((td) => ({ text: text(td), first: text(td.querySelector('a') || td), links: links(td) })),
}));
const groups = [...document.querySelectorAll('table.groups')].map((table) => ({
  heads: [...table.querySelectorAll('thead th')].map((th) => ({ text: text(th), links: links(th) })),
  rows: [...table.querySelectorAll('tbody tr')].map((tr) => ({ name: text(tr.querySelector('th')), nameLinks: links(tr.querySelector('th')),
    cells: [...tr.querySelectorAll('td')].map((td) => ({ text: text(td), links: links(td), refused: td.classList.contains('bad') })) })),
}));
const said = [...document.querySelectorAll('#short a.key')].map((a) => ({ text: text(a), link: a.getAttribute('href') }));
const bare = [...document.querySelectorAll('#short > p:not(.under)')].map((p) => {
  const copy = p.cloneNode(true);
  copy.querySelectorAll('a.key').forEach((a) => a.remove());
  return text(copy);
});
const targets = {};
for (const e of document.querySelectorAll('[id]')) targets['#' + e.id] = text(e) + ' ' + (e.tagName === 'DT' ? text(e.nextElementSibling) : '');
return { rows, groups, said, bare, targets };
"""


def written(estimate, shown_in):
    """Value, half width and both ends as they must be written, whether the interval is even about the value, and the unit; nothing for an
    interval without width, which no measurement has."""
    unit, factor = UNITS[shown_in]
    value, (low, high) = factor * estimate["value"], [factor * end for end in estimate["interval"]]
    below, above = value - low, high - value
    half = max(abs(below), abs(above))
    if half == 0:
        return None
    # Two significant digits; rounding may carry into a third, as 0.0996 does.
    place = decimal.Decimal(half).adjusted() - 1
    if round(decimal.Decimal(half).scaleb(-place)) >= 100:
        place += 1
    def at(x):
        rounded = decimal.Decimal(x).quantize(decimal.Decimal(1).scaleb(place), rounding=decimal.ROUND_HALF_EVEN)
        text = f"{rounded:f}"
        return text.lstrip("-") if not any(c in "123456789" for c in text) else text.replace("-", "−")
    return at(value), at(half), at(low), at(high), abs(below - above) <= 0.05 * half, unit


def forms(estimate, shown_in):
    """Every way in which a page may write an estimate: both signs about the value where they are even, else the interval."""
    how = written(estimate, shown_in)
    if how is None:
        return "an interval that is none", "an interval that is none"
    value, half, low, high, even, unit = how
    end = f" {unit}" if unit else ""
    if even:
        return f"{value} ± {half}{end}", f"{low} to {high}{end}"
    return f"{value} ({low} to {high}){end}", f"{low} to {high}{end}"


def plain(text):
    return text.replace("\u00a0", " ").strip()


def check(page, fit):
    """Findings that should not be, in words; and how many numbers were read."""
    wrong, read = [], 0
    targets = page["targets"]

    def defined(links, where):
        for link in links:
            if link not in targets:
                wrong.append(f"{where}: {link} leads nowhere")
        if not any(link.startswith("#def-") and "Method" in targets.get(link, "") and "Source" in targets.get(link, "") for link in links):
            wrong.append(f"{where}: no link to a definition with method and source: {links}")

    def budget(links, where):
        if not any(link.startswith("#budget-") and "Standard uncertainty" in targets.get(link, "") for link in links):
            wrong.append(f"{where}: no link to a budget: {links}")

    headline = [m for m in fit["measurands"] if m["headline"]]
    if len(headline) != len(page["rows"]):
        wrong.append(f"{len(page['rows'])} rows for {len(headline)} results")
    named = {}
    for row in page["rows"]:
        named.setdefault(row["name"], []).append(row)
    for m in headline:
        where = m["name"]
        if not named.get(m["name"]):
            wrong.append(f"{where}: stands in no table")
            continue
        row = named[m["name"]].pop(0)
        defined(row["nameLinks"], where)
        result = m["result"]
        if result["status"] != "estimate":
            said = row["cells"][0]["text"]
            if not (row["refused"] and result["code"] in said and result["message"] in said):
                wrong.append(f"{where}: refused, and its place does not say why: {said!r}")
            continue
        read += 1
        value, interval = row["cells"][0], row["cells"][1]
        budget(value["links"], where)
        whole, ends = forms(result, m["shown_in"])
        # The value's own cell leaves uneven intervals to the cell beside it.
        bare = re.sub(r" \([^)]*\)", "", whole)
        if plain(value["first"]) not in (whole, bare) or plain(interval["text"]) != ends:
            wrong.append(f"{where}: {value['first']!r} and {interval['text']!r} instead of {whole!r} and {ends!r}")
        if UNITS[m["shown_in"]][0] == "" and result["unit"] != "1":
            wrong.append(f"{where}: has the unit {result['unit']} and is shown without one")

    others = {}
    for m in fit["measurands"]:
        if not m["headline"]:
            others.setdefault((m["group"], m["name"]), []).append(m)
    count = sum(len(list_) for list_ in others.values())
    cells = 0
    quantities = {}
    for m in fit["measurands"]:
        quantities[f"#def-{m['quantity']}"] = m["quantity"]
    for table in page["groups"]:
        if not any(head["text"] == "Group" for head in table["heads"]):
            # Roots of a model: a frequency with unit and interval, or a refusal.
            for row in table["rows"]:
                defined(row["nameLinks"], row["name"])
                for cell in row["cells"]:
                    if not re.fullmatch(r"refused|–|[−\d.]+ (± [\d.]+|\([−\d.]+ to [−\d.]+\))( Hz)?", plain(cell["text"])):
                        wrong.append(f"{row['name']}: {cell['text']!r}")
                if not plain(row["cells"][0]["text"]).endswith(("Hz", "refused")):
                    wrong.append(f"{row['name']}: {row['cells'][0]['text']!r} has no unit")
            continue
        for head in table["heads"][1:-1]:
            defined(head["links"], head["text"])
        for row in table["rows"]:
            for head, cell in zip(table["heads"][1:-1], row["cells"]):
                if not cell["text"]:
                    continue
                cells += 1
                where = f"{row['name']}, {head['text']}"
                quantity = quantities.get(head["links"][0] if head["links"] else "")
                own = [m for (group, _), list_ in others.items() for m in list_ if group == row["name"] and m["quantity"] == quantity]
                if not own:
                    wrong.append(f"{where}: {cell['text']!r} is in no fit")
                    continue
                result = own[0]["result"]
                if result["status"] != "estimate":
                    reasons = [targets.get(link, "") for link in cell["links"]]
                    if not (result["code"] in cell["text"] and any(result["message"] in reason for reason in reasons)):
                        wrong.append(f"{where}: refused, and nothing there leads to why: {cell['text']!r}")
                    continue
                read += 1
                budget(cell["links"], where)
                whole, _ = forms(result, own[0]["shown_in"])
                if plain(cell["text"]) != whole:
                    wrong.append(f"{where}: {cell['text']!r} instead of {whole!r}")
    if cells != count:
        wrong.append(f"{cells} cells for {count} results of other groups")

    for number in page["said"]:
        defined([number["link"]], number["text"])
        quantity = quantities.get(number["link"])
        own = [m for m in headline if m["quantity"] == quantity and m["result"]["status"] == "estimate"]
        read += 1
        if not own:
            wrong.append(f"in short: {number['text']!r} is in no fit")
            continue
        value, half, low, high, even, unit = written(own[0]["result"], own[0]["shown_in"]) or ("",) * 6
        end = f" {unit}" if unit else ""
        whole = f"{value} ± {half}{end}" if even else f"{value} {end} ({low} to {high}{end})".replace("  ", " ")
        if plain(number["text"]) != whole:
            wrong.append(f"in short: {number['text']!r} instead of {whole!r}")
    # Numbers of the sentences themselves: definitions of what is measured, and what is declared and says so.
    known = r"10 to 90 %|±3 dB|by 3 dB|by 50 K|\(sensor and fixture: [\d\u202f.]+ N·m/rad, declared\)"
    for sentence in page["bare"]:
        left = re.sub(known, "", plain(sentence))
        if re.search(r"\d", left):
            wrong.append(f"in short: a number without link in {left!r}")
    return wrong, read
