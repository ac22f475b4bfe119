"""Links at the page's beginning that lead a keyboard past the bars: to the plan, to the board."""

import anywidget


class SkipLinks(anywidget.AnyWidget):
    """The first stops of the Tab key; each is seen while it has the focus.

    It begins with the page's model, not with a view, and works on even where a busy page has given
    the model up.
    """

    _esm = """
    const LINKS = {
      "Skip to the plan": ".gt-plan [tabindex='0']",
      "Skip to the uses board": ".gtb [tabindex='0']",
    };
    const HIDDEN = "position: fixed; left: 8px; top: -60px; z-index: 10000; padding: 6px 12px;"
      + " font: 14px system-ui, sans-serif; color: #1b1f23; background: #fff;"
      + " border: 2px solid #1b1f23; border-radius: 3px;";
    function links() {
      const nav = document.createElement("nav");
      nav.className = "gt-skip";
      nav.setAttribute("aria-label", "Skip the bars");
      for (const [words, target] of Object.entries(LINKS)) {
        const link = document.createElement("button");
        link.textContent = words;
        link.style.cssText = HIDDEN;
        link.addEventListener("focus", () => { link.style.top = "6px"; });
        link.addEventListener("blur", () => { link.style.top = "-60px"; });
        link.addEventListener("click", () => {
          const found = [...document.querySelectorAll(target)].find((e) => e.checkVisibility());
          found?.focus({ focusVisible: true });
        });
        nav.append(link);
      }
      return nav;
    }
    export default () => ({
      initialize() {
        document.querySelector("nav.gt-skip")?.remove();  // one for the page
        const nav = links();
        document.body.prepend(nav);
        return () => nav.remove();
      },
    });
    """
