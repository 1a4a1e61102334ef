// @ts-check
/**
 * Tells this page's elements when something changed, so that htmx asks for them again.
 *
 * Listens to the live process; where its stream does not come through, asks every few seconds
 * instead. Dispatches on the body: `changed`, `changed:visit` and `changed:visit:12`, each with
 * `detail: {kinds, subjects}`. A kind or subject of "*" means that anything may have changed.
 *
 * @typedef {{seq: number, kinds: string[], subjects: string[]}} News
 * @typedef {"live" | "asking" | "lost" | "stopped"} State
 */

const DEBOUNCE_MS = 150; // one re-plan changes many things at once
const ASK_EVERY_MS = 3000;
const TRY_STREAM_AGAIN_MS = 30000;
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 15000;
const SILENCE_MS = 40000; // the stream beats every 15 s; twice missed, it is dead
const HIDDEN_MS = 10000; // browsers allow six streams to one host: a tab nobody sees gives its own up
const RENEW_AT = 0.8; // of a ticket's life
const FAILURES_BEFORE_ASKING = 2;
const OPENING_MS = 10000;
const WORDS = {
  live: "live",
  asking: "checking every 3 s",
  lost: "offline, reconnecting",
  stopped: "signed out",
};

/** @param {HTMLElement} source the element of live/_listen.html */
function listen(source) {
  let seq = Number(source.dataset.seq);
  let url = source.dataset.url ?? "";
  const ticketUrl = source.dataset.ticketUrl ?? "";
  const sinceUrl = source.dataset.sinceUrl ?? "";
  /** @type {EventSource | null} */
  let stream = null;
  let failures = 0;
  let tag = "";
  let open = false;
  let stopped = false;
  /** @type {Map<string, number>} */
  const clocks = new Map();

  /** @param {string} name @param {number} ms @param {() => void} act */
  function after(name, ms, act) {
    window.clearTimeout(clocks.get(name));
    clocks.set(name, window.setTimeout(act, ms));
  }

  /** @param {string[]} names */
  function forget(...names) {
    for (const name of names) window.clearTimeout(clocks.get(name));
  }

  function close() {
    stream?.close();
    stream = null;
    open = false;
    forget("silence", "renew", "retry");
  }

  function rest() {
    close();
    forget("ask");
  }

  /** @param {number} livesSeconds how long the ticket in `url` still lives */
  function connect(livesSeconds) {
    close();
    const opened = new EventSource(`${url}&since=${seq}`);
    stream = opened;
    after("silence", OPENING_MS, failed);
    opened.onopen = () => {
      open = true;
      failures = 0;
      forget("ask");
      say("live");
      after("renew", livesSeconds * RENEW_AT * 1000, renew);
      after("silence", SILENCE_MS, failed);
    };
    opened.addEventListener("changed", (event) => {
      after("silence", SILENCE_MS, failed);
      take(JSON.parse(/** @type {MessageEvent<string>} */ (event).data));
    });
    opened.addEventListener("beat", () => after("silence", SILENCE_MS, failed));
    opened.onerror = failed;
  }

  function failed() {
    close();
    failures += 1;
    if (failures < FAILURES_BEFORE_ASKING) {
      say("lost");
      after("retry", FIRST_WAIT_MS, renew);
      return;
    }
    after("retry", TRY_STREAM_AGAIN_MS, renew);
    void ask();
  }

  /** A new ticket, then a new stream; the old one stays open meanwhile. */
  async function renew() {
    const answer = await fetched(ticketUrl, {});
    if (stopped) return;
    if (!answer) {
      after("retry", Math.min(FIRST_WAIT_MS * 2 ** failures++, LONGEST_WAIT_MS), renew);
      return;
    }
    const given = await answer.json();
    url = given.url;
    connect(given.lives_seconds);
  }

  /** What is new, asked instead of told. */
  async function ask() {
    const answer = await fetched(
      sinceUrl.replace(/\d+\/$/, `${seq}/`),
      tag ? { "If-None-Match": tag } : {},
    );
    if (answer?.status === 200) {
      tag = answer.headers.get("ETag") ?? "";
      take(await answer.json());
    }
    if (open || stopped || document.hidden) return;
    if (answer) say("asking");
    after("ask", ASK_EVERY_MS, ask);
  }

  /**
   * @param {string} where
   * @param {Record<string, string>} headers
   * @returns {Promise<Response | null>} null when the service cannot be reached or refuses
   */
  async function fetched(where, headers) {
    try {
      const answer = await fetch(where, { headers, cache: "no-store", redirect: "error" });
      if (answer.status === 403) stop(); // signed out, or no longer in this shop
      if (answer.ok || answer.status === 304) return answer;
    } catch {
      // Not reached: said below.
    }
    if (!stopped) say("lost");
    return null;
  }

  function stop() {
    stopped = true;
    rest();
    say("stopped");
  }

  /** @type {Set<string>} */
  const kinds = new Set();
  /** @type {Set<string>} */
  const subjects = new Set();

  /** @param {News} news */
  function take(news) {
    seq = news.kinds.includes("*") ? news.seq : Math.max(seq, news.seq);
    if (!news.kinds.length) return;
    for (const kind of news.kinds) kinds.add(kind);
    for (const subject of news.subjects) subjects.add(subject);
    if (!clocks.has("tell")) {
      clocks.set("tell", window.setTimeout(tell, DEBOUNCE_MS));
    }
  }

  function tell() {
    clocks.delete("tell");
    const detail = { kinds: [...kinds], subjects: [...subjects] };
    kinds.clear();
    subjects.clear();
    for (const name of namesOf(detail.subjects)) {
      document.body.dispatchEvent(new CustomEvent(name, { detail }));
    }
  }

  document.addEventListener("visibilitychange", () => {
    if (stopped) return;
    if (document.hidden) {
      after("hide", HIDDEN_MS, rest);
      return;
    }
    forget("hide");
    if (!stream) void renew();
  });
  window.addEventListener("online", () => {
    if (!stopped && !stream) void renew();
  });
  window.addEventListener("pagehide", rest);
  // A page that comes back from the browser's memory, with its old ticket.
  window.addEventListener("pageshow", (event) => {
    if (event.persisted && !stopped) void renew();
  });

  connect(Number(source.dataset.livesSeconds));
}

/**
 * The events to dispatch for these subjects: "visit:12" gives changed, changed:visit and
 * changed:visit:12. When anything may have changed: every event some element waits for.
 * @param {string[]} subjects
 * @returns {Set<string>}
 */
function namesOf(subjects) {
  const names = new Set(["changed"]);
  for (const subject of subjects) {
    const parts = subject.split(":");
    parts.forEach((_, at) => names.add(["changed", ...parts.slice(0, at + 1)].join(":")));
  }
  if (subjects.includes("*")) {
    for (const element of document.querySelectorAll('[hx-trigger*="changed:"]')) {
      const awaited = element.getAttribute("hx-trigger") ?? "";
      for (const [name] of awaited.matchAll(/changed:[^\s,[]+/g)) names.add(name);
    }
  }
  return names;
}

/** @param {State} state */
function say(state) {
  for (const place of document.querySelectorAll("[data-live-state]")) {
    place.setAttribute("data-live-state", state);
    if (place.textContent !== WORDS[state]) place.textContent = WORDS[state];
  }
}

const source = document.getElementById("live");
if (source) listen(source);
