"""Whether a screen can be read and used: axe-core by day and in the dark, and no sideways scrolling."""

from axe_playwright_python.base import AXE_SCRIPT, AxeResults

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}
# What depends on the colours alone; the rest is the same in both schemes.
OF_COLOUR = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}


def fits(page, where: str = "") -> None:
    """No finding of axe-core (its WCAG 2 A and AA rules) in either scheme, nothing over the edge."""
    page.wait_for_load_state()  # a page that was just asked for may have no document yet
    page.wait_for_function("document.documentElement !== null && document.readyState === 'complete'")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), where
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE_SCRIPT)
    for scheme, rules in (("light", RULES), ("dark", OF_COLOUR)):
        # Without motion: a colour half-way between two schemes is nobody's colour.
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        found = AxeResults(page.evaluate("rules => axe.run(rules)", rules | {"resultTypes": ["violations"]}))
        assert found.violations_count == 0, f"{where} {scheme}: {found.generate_report()}"
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
