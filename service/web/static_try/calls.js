// Sends the page's requests with the key, which lives in this module's memory alone.

const ANSWER_SHOWN = 4000;
const NO_ANSWER = {
  title: "No answer came",
  detail: "The service could not be reached, or the connection broke off. See that it runs, then try again.",
};

let key = "";
let tell = () => {};

/** A refusal; `problem` has title, detail and maybe type and errors, `status` is 0 without an answer. */
export class Refused extends Error {
  constructor(problem, status) {
    super(problem.title);
    this.problem = problem;
    this.status = status;
  }
}

/** Send this key from now on; an empty text forgets it. */
export function useKey(text) {
  key = text;
}

/** Call `listener(entry)` with each request as it is sent; `entry.told()` is called when its answer came. */
export function onSent(listener) {
  tell = listener;
}

/** Lets one piece of work at a time count: a newer one aborts the one before and drops its answer. */
export class Latest {
  #running = null;

  /** What `work(signal)` gives, or undefined if newer work overtook it. */
  async run(work) {
    this.stop();
    const mine = new AbortController();
    this.#running = mine;
    try {
      const answer = await work(mine.signal);
      return mine.signal.aborted ? undefined : answer;
    } catch (error) {
      if (mine.signal.aborted) return undefined;
      throw error;
    }
  }

  stop() {
    this.#running?.abort();
  }
}

/**
 * Send an operation such as "GET /v1/artworks/{artwork_id}" and give the answer: JSON, or a Blob of a
 * picture. `query` is a list of pairs; `body` is sent as JSON, `form` as a form with a file.
 */
export async function call(operation, { ids = {}, query = [], body, form, signal } = {}) {
  const [method, template] = operation.split(" ");
  const path = template.replace(/\{(\w+)\}/g, (_, name) => encodeURIComponent(ids[name]));
  const search = query.length ? `?${new URLSearchParams(query)}` : "";
  // Relative, so that the page also works below a path prefix.
  const address = new URL(path.slice(1) + search, document.baseURI);
  const headers = { Authorization: `Bearer ${key}` };
  if (body !== undefined) headers["Content-Type"] = "application/json";
  const content = form ? formOf(form) : body === undefined ? undefined : JSON.stringify(body);
  const entry = {
    method,
    path: path + search,
    body: form ? `file=${form.file.name}, rights_declared=${form.rights}` : content ?? "",
    curl: curlOf(method, address, content, form),
    status: "waiting",
    ms: null,
    answer: "",
    told: () => {},
  };
  tell(entry);
  const began = performance.now();
  try {
    const response = await fetch(address, {
      method, headers, body: content, signal, cache: "no-store", credentials: "omit", redirect: "error",
    });
    entry.status = String(response.status);
    return await read(response, entry);
  } catch (error) {
    if (error instanceof Refused) throw error;
    entry.status = signal?.aborted ? "dropped: the choice had changed" : "no answer";
    throw signal?.aborted ? error : new Refused(NO_ANSWER, 0);
  } finally {
    entry.ms = Math.round(performance.now() - began);
    entry.told();
  }
}

async function read(response, entry) {
  const type = response.headers.get("content-type") ?? "";
  if (response.ok && type.startsWith("image/")) {
    const picture = await response.blob();
    entry.answer = `${type}, ${picture.size} bytes`;
    return picture;
  }
  const text = await response.text();
  const answer = parsed(text);
  const shown = answer === null ? text : JSON.stringify(answer, null, 1);
  entry.answer = shown.length > ANSWER_SHOWN ? `${shown.slice(0, ANSWER_SHOWN)}\n... (cut here)` : shown;
  if (response.ok && answer !== null) return answer;
  throw new Refused(problemOf(answer, response), response.status);
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

function problemOf(answer, response) {
  const problem = answer?.title ? answer : { title: `Status ${response.status}`, detail: "The answer cannot be read." };
  const wait = response.headers.get("retry-after");
  return wait ? { ...problem, wait } : problem;
}

function formOf({ file, rights }) {
  const form = new FormData();
  form.append("file", file);
  form.append("rights_declared", String(rights));
  return form;
}

function curlOf(method, address, content, form) {
  const parts = ["curl", '-H "Authorization: Bearer $KEY"'];
  if (form) {
    const name = form.file.name.replace(/[\\"]/g, "\\$&");
    parts.push(`-F ${quoted(`file=@"${name}"`)}`, `-F rights_declared=${form.rights}`);
  } else if (content !== undefined) {
    parts.push("-H 'Content-Type: application/json'", `-d ${quoted(content)}`);
  } else if (address.pathname.endsWith("/proof")) {
    parts.push("-o proof.png");
  }
  if (method === "POST" && !form && content === undefined) parts.push("-X POST");
  parts.push(quoted(address.href));
  return parts.join(" ");
}

function quoted(text) {
  return `'${text.replaceAll("'", "'\\''")}'`;
}
