// Latest asks one address of the program for one thing at a time.
//
// At most one request is in flight; of those wanted meanwhile only the latest
// waits. Sliders so get as many answers as the program can give, and never an
// old one after a newer one.

// A request that a newer one waits for is given up after this [ms]. Our own
// choice: far above the usual answer, so that a steady drag never starves.
const patience = 1500;

// After a failure to reach the program, or if it is too busy, ask again after
// this [ms].
const again = 2000;

export class Latest {
  // answer(json, query) and failed(message or null, query) are called in order.
  constructor(path, answer, failed, fetcher = (...a) => fetch(...a)) {
    Object.assign(this, { path, answer, failed, fetcher, flight: null, waiting: null, retry: null });
  }

  // busy tells whether an answer is under way, or will be asked for again.
  get busy() {
    return Boolean(this.flight || this.retry);
  }

  // ask wants the answer to query, a string.
  ask(query) {
    this.forget();
    if (!this.flight) return this.fly(query);
    this.waiting = query;
    const age = performance.now() - this.flight.since;
    clearTimeout(this.late);
    this.late = setTimeout(() => this.flight?.control.abort(), Math.max(0, patience - age));
  }

  forget() {
    clearTimeout(this.retry);
    this.retry = null;
  }

  // stop gives up all requests.
  stop() {
    this.forget();
    clearTimeout(this.late);
    this.waiting = null;
    this.flight?.control.abort();
    this.flight = null;
  }

  async fly(query) {
    const flight = { control: new AbortController(), since: performance.now() };
    this.flight = flight;
    let json = null, message = "", wait = 0;
    try {
      const response = await this.fetcher(`${this.path}?${query}`, { signal: flight.control.signal });
      if (response.status === 503) {
        wait = 1000 * Number(response.headers.get("Retry-After")) || again;
        message = "The program is busy; it will be asked again.";
      } else if (!response.ok) {
        message = await refusal(response);
      } else {
        json = await response.json();
      }
    } catch (err) {
      if (err.name !== "AbortError") {
        message = "The program does not answer. Is it still running?";
        wait = again;
      }
    }
    if (this.flight !== flight) return; // stopped
    this.flight = null;
    clearTimeout(this.late);
    const next = this.waiting;
    this.waiting = null;
    if (next !== null) this.fly(next);
    else if (wait) this.retry = setTimeout(() => this.ask(query), wait);
    if (json !== null) this.answer(json, query);
    else if (next === null && message) this.failed(message, query);
  }
}

// refusal is what the program said against a query.
async function refusal(response) {
  const text = (await response.text()).trim();
  try {
    return JSON.parse(text).error ?? text;
  } catch {
    return text || `The program refused: ${response.status}`;
  }
}
