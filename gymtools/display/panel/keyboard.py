"""The keyboard on the panel's page: links at its beginning lead past the bars, to the plan and to
the board, and letters typed in the panel are no commands to the notebook behind it.
"""

import anywidget


class PageKeyboard(anywidget.AnyWidget):
    """The first stops of the Tab key; each is seen while it has the focus. JupyterLab's shortcuts
    without Ctrl or Cmd do nothing in the panel, nor while it covers the notebook: "b" would insert
    a cell that nobody sees, "m" would take the panel away.

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
    function shield(event) {
      const book = event.target.closest?.(".jp-NotebookPanel");
      const panel = book?.querySelector(".gt-page");
      if (!panel) return;
      const covers = getComputedStyle(panel).position === "fixed";
      const own = covers || event.target.closest(".gt-page");
      const plain = !event.ctrlKey && !event.metaKey;
      // a shortcut's selector may be of the very element that has the focus
      if (own) event.target.toggleAttribute("data-lm-suppress-shortcuts", plain);
    }
    export default () => ({
      initialize() {
        globalThis.gymtoolsShield ??= (window.addEventListener("keydown", shield, true), true);
        document.querySelector("nav.gt-skip")?.remove();  // one for the page
        const nav = links();
        document.body.prepend(nav);
        return () => nav.remove();
      },
    });
    """
