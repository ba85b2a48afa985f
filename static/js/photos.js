// Photos that belong to entries: made smaller, kept on the tablet, sent in pieces after everything else.
//
// A photo has an entry of its own, told at the same tap: it waits in the outbox until its bytes are all in the yard,
// and comes after the entry it is a photo of. It never holds that one up.

import { BOOKED, WAITING, waitBefore } from "./outbox.js";
import { ENTRIES, PHOTOS } from "./storage.js";
import { notKept } from "./words.js";

export const LONGEST_EDGE_PX = 2560;
export const PIECE_BYTES = 256 * 1024;
const KEPT_AS_IT_IS_BYTES = 2 * 1024 * 1024;
const QUALITY = 0.85;
const TAKEN_AS_IT_IS = new Set(["image/jpeg", "image/png", "image/webp"]);
const NOT_A_PICTURE = "This picture does not open on this tablet; give a JPEG, PNG or WebP.";

const LOST = "The photo is not on this tablet any more.";
const ORPHAN_MS = 3600_000;

const LOCK = "hullbook-photos";

/** Width and height within the longest edge, whole numbers, never made larger. */
export function within(width, height, longest = LONGEST_EDGE_PX) {
  const scale = Math.min(1, longest / Math.max(width, height));
  return { width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale)) };
}

/** Where each piece begins and ends. */
export function piecesOf(size) {
  const pieces = [];
  for (let from = 0; from < size; from += PIECE_BYTES) pieces.push([from, Math.min(size, from + PIECE_BYTES)]);
  return pieces;
}

export async function sha256(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** The picture as it is sent: as it came where it is small enough, else drawn anew; `isAsItCame` says which. */
async function madeSmaller(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    throw new TypeError(NOT_A_PICTURE);
  }
  const { width, height } = within(picture.width, picture.height);
  const isSmall = width === picture.width && height === picture.height && file.size <= KEPT_AS_IT_IS_BYTES;
  if (isSmall && TAKEN_AS_IT_IS.has(file.type)) {
    picture.close();
    return { blob: file, isAsItCame: true };
  }
  const canvas = document.createElement("canvas");
  Object.assign(canvas, { width, height });
  canvas.getContext("2d").drawImage(picture, 0, 0, width, height);
  picture.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  return { blob, isAsItCame: false };
}

export function openPhotos({
  storage,
  outbox,
  fetch,
  locks,
  token,
  shrink = madeSmaller,
  now = Date.now,
  random = Math.random,
  timer = { set: (work, ms) => setTimeout(work, ms), clear: (id) => clearTimeout(id) },
}) {
  let sending = null;
  let notBefore = 0;
  let tries = 0;
  let timed = null;

  /** Keep one picture of `entry`; kept when the promise is. */
  async function keep(file, entry) {
    const { blob, isAsItCame } = await shrink(file);
    const hash = await sha256(blob);
    const id = `${now()} ${crypto.randomUUID()}`;
    // Bytes, not a Blob: an engine may keep a Blob's bytes apart and lose them apart.
    const bytes = await blob.arrayBuffer();
    await storage.write([PHOTOS], (kept) => kept.put(PHOTOS, { id, sha256: hash, bytes }));
    return outbox.put({
      url: `/photos/${hash}/log/`,
      act: `Photo: ${entry.act}`,
      about: entry.about,
      person: entry.person,
      kind: "hulls.photo",
      after: entry.id,
      photo: id,
      holds: id,
      fields: [
        ["of", entry.id],
        ["size_bytes", String(bytes.byteLength)],
        ["original_sha256", isAsItCame ? hash : await sha256(file)],
        ["claimed_at", file.lastModified ? new Date(file.lastModified).toISOString() : ""],
      ],
    });
  }

  /** Keep one picture; gives what went wrong, in words, or "". */
  async function keepOne(file, entry) {
    try {
      await keep(file, entry);
      return "";
    } catch (error) {
      return error.message === NOT_A_PICTURE ? NOT_A_PICTURE : `The photo: ${notKept(error)}`;
    }
  }

  /** Keep the pictures chosen in a form; gives what went wrong, in words, or "". */
  async function keepFrom(form, entry) {
    for (const input of form.querySelectorAll("input[type=file][data-photo]")) {
      for (const file of input.files) {
        const wrong = await keepOne(file, entry);
        if (wrong) return wrong;
      }
      input.value = "";
    }
    return "";
  }

  async function ask(path, options = {}) {
    return fetch(path, {
      ...options,
      credentials: "same-origin",
      cache: "no-store",
      redirect: "error",
      headers: { Accept: "application/json", "X-CSRFToken": token(), ...options.headers },
    });
  }

  async function said(answer) {
    return answer.headers.get("content-type")?.includes("json") ? answer.json() : null;
  }

  /** Bring what is missing of one photo to the yard: "up", "later", or the sentence why it is not taken. */
  async function bring({ sha256: hash, bytes }) {
    const path = `/photos/${hash}/`;
    const size = { "HB-Size": String(bytes.byteLength) };
    const answer = await ask(path, { headers: size });
    const held = answer.ok ? await said(answer) : null;
    if (!held) return "later";
    for (const [number, [from, to]] of piecesOf(bytes.byteLength).entries()) {
      if (held.pieces.includes(number)) continue;
      const taken = await ask(`${path}${number}/`, {
        method: "POST",
        body: bytes.slice(from, to),
        headers: { ...size, "Content-Type": "application/octet-stream" },
      });
      if (taken.ok) continue;
      const why = await said(taken);
      notBefore = now() + (Number(taken.headers.get("retry-after")) || 0) * 1000;
      if (taken.status === 422 || taken.status === 413) return why?.problems?.[""] ?? "later";
      return "later";
    }
    return "up";
  }

  /** Entries of photos whose bytes are still here, and which may go: what they are of is in the book. */
  function heldBack() {
    return storage.read([ENTRIES], async (kept) => {
      const found = [];
      for (const entry of (await kept.all(ENTRIES, WAITING)).filter((one) => one.holds)) {
        if ((await kept.get(ENTRIES, entry.after))?.state === BOOKED) found.push(entry);
      }
      return found.sort((one, other) => one.sequence - other.sequence);
    });
  }

  async function bringAll() {
    for (const entry of await heldBack()) {
      const photo = await storage.read([PHOTOS], (kept) => kept.get(PHOTOS, entry.photo));
      const outcome = photo ? await bring(photo) : LOST;
      if (outcome === "later") return "later";
      tries = 0;
      if (outcome === "up") await outbox.hold(entry.id, null);
      else await outbox.refuse(entry.id, outcome);
    }
    return "done";
  }

  /** The bytes of a photo go last: when it is in the book, or taken away. */
  function letGo(entry) {
    if (entry.photo) storage.note([PHOTOS], (kept) => kept.remove(PHOTOS, entry.photo)).catch(() => {});
  }

  /** Bytes that no entry names: the browser was ended between keeping the one and the other. */
  async function sweep() {
    const named = new Set((await outbox.waiting()).map((entry) => entry.photo));
    const old = (id) => now() - Number.parseInt(id, 10) > ORPHAN_MS;
    await storage.note([PHOTOS], async (kept) => {
      for (const id of await kept.keys(PHOTOS)) if (!named.has(id) && old(id)) await kept.remove(PHOTOS, id);
    });
  }

  /** Send what is left of photos, unless another page of the tablet is at it. */
  function flush() {
    if (now() < notBefore) return Promise.resolve();
    sending ??= locks
      .request(LOCK, { ifAvailable: true }, (lock) => (lock ? bringAll() : "done"))
      .catch(() => "later")
      .then((outcome) => {
        sending = null;
        timer.clear(timed);
        if (outcome === "later") timed = timer.set(flush, Math.max(waitBefore(tries++, random), notBefore - now()));
      });
    return sending;
  }

  outbox.on("booked", letGo);
  outbox.on("gone", letGo);
  outbox.on("idle", flush);
  sweep().catch(() => {});
  return { keep, keepOne, keepFrom, flush };
}
