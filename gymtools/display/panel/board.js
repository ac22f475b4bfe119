// The uses board as a grid that is read and walked through like a table. It draws what the kernel
// sends and sends what is picked; it computes nothing.

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

// The state is a model of its own: a busy page may give this one up, and then it hears nothing.
async function stateOf(model) {
  for (let tries = 0; ; tries++) {
    try {
      return await model.widget_manager.get_model(model.get("state_id"));
    } catch (error) {
      if (tries > 600) throw error;
      await wait(100); // a page that is reloaded may not have it yet
    }
  }
}

const made = (parent, tag, css, given = {}) => {
  const element = document.createElement(tag);
  if (css) element.className = css;
  for (const [name, value] of Object.entries(given)) element.setAttribute(name, value);
  parent.append(element);
  return element;
};

const put = (element, text) => {
  if (element.textContent !== text) element.textContent = text;
};

// "2 of 3 fail"; the style sheet writes it shorter where the page is narrow
const count = (element, text) => {
  const [fail, whole] = text.split(" of ");
  element.textContent = fail;
  made(element, "span", "gtb-of");
  element.append(whole);
};

const KEYS = {
  ArrowLeft: (at) => [at[0], at[1] - 1],
  ArrowRight: (at) => [at[0], at[1] + 1],
  ArrowUp: (at) => [at[0] - 1, at[1]],
  ArrowDown: (at) => [at[0] + 1, at[1]],
  Home: (at) => [at[0], 0],
  End: (at, last) => [at[0], last[1]],
};

// The panel that covers its notebook scrolls under a picture and a board that stay: both are made
// narrower while what lies below is read, and take no other room in the flow, so that nothing jumps.
class Reading {
  constructor(el) {
    this.el = el;
    this.found = null;
  }

  // Not there yet when the board is drawn first.
  get page() {
    if (this.found?.isConnected) return this.found;
    this.stop();
    this.found = this.el.closest(".gt-page");
    if (!this.found) return null;
    this.listeners = {
      scroll: () => this.follow(),
      click: (event) => this.opened(event.target),
      keydown: (event) => { if (event.key === "Enter") this.opened(event.target); },
    };
    for (const [kind, act] of Object.entries(this.listeners))
      this.found.addEventListener(kind, act, { passive: true });
    return this.found;
  }

  stop() {
    for (const [kind, act] of Object.entries(this.listeners ?? {}))
      this.found?.removeEventListener(kind, act);
  }

  get alone() {
    return this.page && getComputedStyle(this.page).position === "fixed";
  }

  set(reads) {
    const page = this.page;
    if (page.classList.contains("gt-reading") === reads) return;
    const high = (name) => page.querySelector(name)?.offsetHeight ?? 0;
    const before = [high(".gt-work"), high(".gt-board")];
    page.classList.toggle("gt-reading", reads);
    const lost = [".gt-work", ".gt-board"].map((name, n) => before[n] - high(name));
    page.style.setProperty("--gt-work-lost", `${reads ? lost[0] : 0}px`);
    page.style.setProperty("--gt-board-lost", `${reads ? lost[1] : 0}px`);
  }

  follow() {
    if (!this.alone) return;
    const top = this.page.scrollTop;
    if (top > 130) this.set(true);
    else if (top < 100) this.set(false);
  }

  opened(target) {
    const tab = target.closest?.(".lm-TabBar-tab");
    if (tab?.closest(".gt-tabs") && !tab.closest(".gt-tabs .lm-TabPanel-stackedPanel"))
      requestAnimationFrame(() => this.reveal());
  }

  reveal() {
    if (!this.page) return;
    const tabs = this.page.querySelector(".gt-tabs");
    if (!tabs) return;
    if (!this.alone) {
      tabs.scrollIntoView({ block: "start" });
      return;
    }
    this.set(true);
    const page = this.page.getBoundingClientRect();
    const kept = [".gt-work", ".gt-board"]
      .map((name) => this.page.querySelector(name)?.offsetHeight ?? 0)
      .reduce((sum, high) => sum + high, 0);
    this.page.scrollTop += tabs.getBoundingClientRect().top - page.top - kept;
  }
}

class Grid {
  constructor(el, send) {
    this.send = send;
    this.reading = new Reading(el);
    this.reveals = null;
    this.sketch = "";
    this.at = [0, 1]; // row and column that the Tab key leads to; column 0 is the use
    this.frame = made(el, "div", "gtb", { "data-lm-suppress-shortcuts": "true" });
    this.frame.addEventListener("keydown", (event) => this.key(event));
    this.frame.addEventListener("click", (event) => this.click(event));
    this.frame.addEventListener("focusin", (event) => this.follow(event.target));
    this.said = made(el, "div", "gtb-said", { role: "status", "aria-live": "polite" });
  }

  draw(board) {
    const sketch = JSON.stringify([board.columns, board.rows.map((row) => row.use)]);
    if (sketch !== this.sketch) this.build(board, sketch);
    board.rows.forEach((row, r) => this.fill(this.rows[r], row));
    put(this.said, board.said);
    if (this.reading.page && this.reveals !== null && board.reveals > this.reveals)
      this.reading.reveal();
    this.reveals = board.reveals;
  }

  build(board, sketch) {
    this.sketch = sketch;
    this.columns = board.columns.map((column) => column.key);
    this.frame.textContent = "";
    const table = made(this.frame, "table", "", { role: "grid", "aria-label": board.label });
    const widths = made(table, "colgroup");
    made(widths, "col", "gtb-use");
    for (const column of board.columns) made(widths, "col", `gtb-${column.key}`);
    const head = made(made(table, "thead"), "tr", "", { role: "row" });
    const corner = made(head, "th", "", { role: "columnheader", scope: "col" });
    made(corner, "div").textContent = "Use";
    made(corner, "small").textContent = board.legend;
    board.columns.forEach((column, c) => {
      const given = { role: "columnheader", scope: "col", title: column.tip, tabindex: -1 };
      made(head, "th", "", { ...given, "data-at": `-1 ${c + 1}` }).textContent = column.plain;
    });
    const body = made(table, "tbody");
    this.rows = board.rows.map((row, r) => this.row(body, row, r));
    this.at = [Math.min(this.at[0], this.rows.length - 1), this.at[1]];
    this.tab();
  }

  row(body, row, r) {
    const line = made(body, "tr", "", { role: "row" });
    const given = { scope: "row", role: "rowheader", tabindex: -1, "data-at": `${r} 0` };
    const cells = [made(line, "th", "", given)];
    this.columns.forEach((key, c) => {
      const spot = { role: "gridcell", tabindex: -1, "data-at": `${r} ${c + 1}` };
      cells.push(made(line, "td", "", spot));
    });
    return {
      line,
      cells: cells.map((cell) => ({
        cell, top: made(cell, "div"), more: made(cell, "div", "gtb-more"),
      })),
      texts: cells.slice(1).map(({}, c) => {
        const [top, more] = line.children[c + 1].children;
        made(line.children[c + 1], "i", "", { "aria-hidden": "true" }).textContent = "\u2026";
        // in the second line what finds no room beside the place is in the tip alone
        const texts = { word: made(top, "b"), number: made(top, "span") };
        return { ...texts, where: made(more, "span"), was: made(more, "span") };
      }),
      last: [],
    };
  }

  fill(shown, row) {
    shown.use = row.use;
    const head = JSON.stringify([row.shown, row.pale, row.note, row.counts]);
    if (shown.last[0] !== head) {
      const { cell, top, more } = shown.cells[0];
      put(top, `${row.shown ? "\u25b8 " : ""}${row.use}`);
      put(more, row.note);
      cell.title = `${row.use}: ${row.counts}`;
      const says = row.shown ? "shown in the picture" : "press Enter to show it";
      cell.setAttribute("aria-label", `${row.use}: ${row.counts}; ${says}`);
      if (row.shown) cell.setAttribute("aria-current", "true");
      else cell.removeAttribute("aria-current");
      shown.line.className = `${row.shown ? "gtb-shown" : ""} ${row.pale ? "gtb-pale" : ""}`;
      shown.last[0] = head;
    }
    row.cells.forEach((given, c) => {
      const here = row.at === this.columns[c];
      const text = JSON.stringify([given, here]);
      if (shown.last[c + 1] === text) return;
      shown.last[c + 1] = text;
      const { cell } = shown.cells[c + 1];
      const texts = shown.texts[c];
      if (given.count) count(texts.word, given.count);
      else put(texts.word, given.word);
      put(texts.number, `${given.word ? " " : ""}${given.number}`);
      put(texts.where, [given.arrow, given.where].filter(Boolean).join(" "));
      put(texts.was, given.was);
      const kind = given.word.split(" ")[0] || (given.number ? "none" : "empty");
      cell.className = `gtb-${kind}${here ? " gtb-here" : ""}`;
      cell.title = given.tip;
      cell.setAttribute("aria-label", given.name);
      cell.setAttribute("aria-selected", here);
    });
  }

  spot(at) {
    return this.frame.querySelector(`[data-at="${at[0]} ${at[1]}"]`);
  }

  tab() {
    this.frame.querySelectorAll('[tabindex="0"]').forEach((cell) => { cell.tabIndex = -1; });
    const cell = this.spot(this.at);
    if (cell) cell.tabIndex = 0;
  }

  place(target) {
    const cell = target.closest?.("[data-at]");
    return cell ? cell.dataset.at.split(" ").map(Number) : null;
  }

  follow(target) {
    const at = this.place(target);
    if (!at) return;
    this.at = at;
    this.tab();
  }

  pick(at) {
    if (at[0] < 0) return; // a head is only read
    this.send({ use: this.rows[at[0]].use, question: at[1] ? this.columns[at[1] - 1] : "" });
  }

  click(event) {
    const at = this.place(event.target);
    if (!at) return;
    this.spot(at).focus();
    this.pick(at);
  }

  key(event) {
    const at = this.place(event.target);
    if (!at || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      event.stopPropagation();
      this.pick(at);
    } else if (event.key in KEYS) {
      event.preventDefault();
      event.stopPropagation();
      const to = this.spot(KEYS[event.key](at, [this.rows.length - 1, this.columns.length]));
      to?.focus();
    }
  }
}

export default {
  async render({ model, el }) {
    const grid = new Grid(el, (picked) => model.send(picked));
    const state = await stateOf(model);
    let due = 0;
    const draw = () => {
      due = 0;
      const text = state.get("text");
      if (text) grid.draw(JSON.parse(text));
    };
    const soon = () => { due ||= requestAnimationFrame(draw); };
    state.on("change:text", soon);
    draw();
    return () => {
      grid.reading.stop();
      state.off("change:text", soon);
      cancelAnimationFrame(due);
    };
  },
};
