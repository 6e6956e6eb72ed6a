/**
 * Proofs, computed here with WebCrypto and nothing of the service's own opinion: the signature of an event (DSSE 1.0.2, ECDSA P-256 with SHA-256,
 * DER) and that the event is in the tree (RFC 9162, 2.1.3.2).
 */

const EVENT_TYPE = "application/vnd.anatomyprep.event+json";

export interface Inclusion {
  readonly position: number;
  readonly size: number;
  readonly root: string;
  readonly hashes: readonly string[];
  /** The envelope, exactly as it was hashed. */
  readonly event: string;
}

export interface Envelope {
  readonly payload: string;
  readonly payloadType: string;
  readonly signatures: readonly { readonly keyid: string; readonly sig: string }[];
}

const hex = (bytes: Uint8Array): string => [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
const unhex = (text: string): Uint8Array => Uint8Array.from(text.match(/../g) ?? [], (pair) => parseInt(pair, 16));
export const unbase64 = (text: string): Uint8Array => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));

export async function sha256(...parts: readonly Uint8Array[]): Promise<Uint8Array> {
  const whole = new Uint8Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return new Uint8Array(await crypto.subtle.digest("SHA-256", whole));
}

/** The root that a leaf and its path give; null when the path has not the length it must have. */
export async function rootOf(inclusion: Inclusion): Promise<string | null> {
  let { position: fn } = inclusion;
  let sn = inclusion.size - 1;
  if (fn > sn || fn < 0) return null;
  let r = await sha256(Uint8Array.of(0), new TextEncoder().encode(inclusion.event));
  for (const step of inclusion.hashes) {
    if (sn === 0) return null;
    const p = unhex(step);
    if (fn % 2 === 1 || fn === sn) {
      r = await sha256(Uint8Array.of(1), p, r);
      while (fn % 2 === 0 && fn !== 0) {
        fn = Math.floor(fn / 2);
        sn = Math.floor(sn / 2);
      }
    } else {
      r = await sha256(Uint8Array.of(1), r, p);
    }
    fn = Math.floor(fn / 2);
    sn = Math.floor(sn / 2);
  }
  return sn === 0 ? hex(r) : null;
}

/** What DSSE signs: "DSSEv1", then type and body, each with its length in bytes. */
function preAuthenticationEncoding(type: string, body: Uint8Array): Uint8Array {
  const head = new TextEncoder().encode(`DSSEv1 ${new TextEncoder().encode(type).length} ${type} ${body.length} `);
  const whole = new Uint8Array(head.length + body.length);
  whole.set(head);
  whole.set(body, head.length);
  return whole;
}

/** A DER signature as the 64 bytes that WebCrypto takes; null when it is none. */
export function rawSignature(der: Uint8Array): Uint8Array | null {
  if (der[0] !== 0x30 || der[1] !== der.length - 2) return null;
  const raw = new Uint8Array(64);
  let at = 2;
  for (const end of [32, 64]) {
    if (der[at] !== 0x02) return null;
    const size = der[at + 1];
    let number = der.subarray(at + 2, at + 2 + size);
    while (number.length > 32 && number[0] === 0) number = number.subarray(1);
    if (number.length > 32 || number.length === 0) return null;
    raw.set(number, end - number.length);
    at += 2 + size;
  }
  return at === der.length ? raw : null;
}

export type Verdict = { readonly holds: true; readonly payload: Record<string, unknown> } | { readonly holds: false; readonly why: "envelope" | "key" | "signature" | "path" | "root" };

/** @param publicKey DER SubjectPublicKeyInfo of the key that the envelope names. @param root Of the head that the page holds on to. */
export async function check(inclusion: Inclusion, publicKey: Uint8Array | null, root: string): Promise<Verdict> {
  let envelope: Envelope;
  let payload: Record<string, unknown>;
  let body: Uint8Array;
  try {
    envelope = JSON.parse(inclusion.event) as Envelope;
    body = unbase64(envelope.payload);
    payload = JSON.parse(new TextDecoder("utf-8", { fatal: true }).decode(body)) as Record<string, unknown>;
  } catch {
    return { holds: false, why: "envelope" };
  }
  if (envelope.payloadType !== EVENT_TYPE || envelope.signatures.length !== 1) return { holds: false, why: "envelope" };
  const computed = await rootOf(inclusion);
  if (computed === null) return { holds: false, why: "path" };
  if (computed !== root) return { holds: false, why: "root" };
  if (!publicKey || hex(await sha256(publicKey)) !== envelope.signatures[0].keyid) return { holds: false, why: "key" };
  const raw = rawSignature(unbase64(envelope.signatures[0].sig));
  const key = await crypto.subtle.importKey("spki", publicKey as BufferSource, { name: "ECDSA", namedCurve: "P-256" }, false, ["verify"]);
  const holds = raw !== null && await crypto.subtle.verify({ name: "ECDSA", hash: "SHA-256" }, key, raw as BufferSource, preAuthenticationEncoding(envelope.payloadType, body) as BufferSource);
  return holds ? { holds: true, payload } : { holds: false, why: "signature" };
}

/** Public keys by fingerprint, from the events that brought them: the tree that holds them is what is being checked. */
export async function keysOf(events: readonly { readonly body?: Record<string, unknown> }[]): Promise<Map<string, Uint8Array>> {
  const keys = new Map<string, Uint8Array>();
  const walk = async (value: unknown): Promise<void> => {
    const pem = typeof value === "string" ? /-----BEGIN PUBLIC KEY-----([A-Za-z0-9+/=\s]+)-----END PUBLIC KEY-----/.exec(value) : null;
    if (pem) {
      const der = unbase64(pem[1].replace(/\s/g, ""));
      keys.set(hex(await sha256(der)), der);
    } else if (typeof value === "object" && value !== null) {
      for (const inner of Object.values(value)) await walk(inner);
    }
  };
  for (const event of events) await walk(event.body);
  return keys;
}
