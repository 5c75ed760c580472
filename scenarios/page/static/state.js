// The whole state of the page is its address: #view?key=value&key=value.

// How long the state must rest before it becomes a step of "back" [ms].
// Our own choice; browsers refuse some hundred steps a minute.
const rest = 400;

// parse reads a hash.
export function parse(hash) {
  const [view, query = ""] = hash.replace(/^#/, "").split(/\?(.*)/s);
  return { view, params: new Map(new URLSearchParams(query)) };
}

// format writes a hash; keys are sorted, so that equal states are equal addresses.
export function format(view, params) {
  const q = new URLSearchParams([...params].sort(([a], [b]) => (a < b ? -1 : 1)));
  return `#${view}${params.size ? "?" : ""}${q}`;
}

// State is what the address says. Listeners get the keys that changed.
export class State {
  constructor(win, usualView) {
    this.win = win;
    this.usual = usualView;
    this.listeners = new Set();
    this.read();
    win.addEventListener("popstate", () => this.returned());
    win.addEventListener("pagehide", () => this.commit());
  }

  read() {
    const { view, params } = parse(this.win.location.hash);
    this.view = view || this.usual;
    this.params = params;
  }

  get(key) {
    return this.params.get(key);
  }

  // number returns the value of key, or NaN where there is none.
  number(key) {
    const text = this.params.get(key);
    return text === undefined || text.trim() === "" ? NaN : Number(text);
  }

  on(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  // set changes values (null takes a key away) and puts them into the address
  // once they rest.
  set(changes) {
    const changed = this.merge(changes);
    if (!changed.size) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.commit(), rest);
    this.tell(changed);
  }

  // fill adds what the address left out, without a step of "back".
  fill(changes) {
    this.merge(changes);
    this.win.history.replaceState(null, "", format(this.view, this.params));
  }

  merge(changes) {
    const changed = new Set();
    for (const [k, v] of Object.entries(changes)) {
      if (v === null ? !this.params.has(k) : this.params.get(k) === String(v)) continue;
      if (v === null) this.params.delete(k);
      else this.params.set(k, String(v));
      changed.add(k);
    }
    return changed;
  }

  commit() {
    clearTimeout(this.timer);
    const hash = format(this.view, this.params);
    if (hash !== this.win.location.hash) this.win.history.pushState(null, "", hash);
  }

  // returned follows back, forward and an address typed by hand.
  returned() {
    clearTimeout(this.timer);
    const before = new Map(this.params);
    this.read();
    const keys = new Set([...before.keys(), ...this.params.keys()]);
    this.tell(new Set([...keys].filter((k) => before.get(k) !== this.params.get(k))));
  }

  tell(changed) {
    for (const listener of this.listeners) listener(changed);
  }
}
