// @ts-check
/**
 * What the day board asks of the service, and its answers in words.
 *
 * @typedef {{ok: boolean, code: string, says: string, told: any}} Answer
 */

const GIVE_UP_MS = 15000;
const UNREACHED = "The service cannot be reached; nothing was moved.";

/**
 * @param {string} url @param {{method?: string, body?: object, version?: number}} [more]
 * @returns {Promise<Answer>}
 */
export async function ask(url, { method = "GET", body, version } = {}) {
  /** @type {Record<string, string>} */
  const headers = { Accept: "application/json" };
  if (method !== "GET") Object.assign(headers, token(), { "Content-Type": "application/json" });
  if (version !== undefined) headers["If-Match"] = `"v${version}"`;
  const sent = method === "GET" ? {} : { body: JSON.stringify(body ?? {}) };
  try {
    const answer = await fetch(url, { method, headers, ...sent, signal: AbortSignal.timeout(GIVE_UP_MS) });
    const told = await answer.json();
    if (answer.ok) return { ok: true, code: "", says: "", told };
    return { ok: false, code: told.code ?? "", says: wordsOf(told), told };
  } catch {
    return { ok: false, code: "unreached", says: UNREACHED, told: {} };
  }
}

/** The page's own token, which it gives htmx as well. */
function token() {
  return JSON.parse(document.body.getAttribute("hx-headers") ?? "{}");
}

/** @param {any} told a refusal */
function wordsOf(told) {
  return [told.title, told.detail].filter(Boolean).join(" ");
}
