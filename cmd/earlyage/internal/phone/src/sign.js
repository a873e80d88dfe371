// Keys and signatures. A device's key is a NATS user nkey: the same Ed25519 key
// answers the server's nonce and signs bodies, by the pre-authentication encoding
// of DSSE 1.0, as the hub verifies it.
import { createUser, fromSeed } from "@nats-io/nkeys";

export const contentType = "application/cloudevents+json";

const encoder = new TextEncoder();

/** A new key: its seed (SU...), to be kept, and its public half (U...). */
export function newKey() {
  const pair = createUser();
  return { seed: new TextDecoder().decode(pair.getSeed()), key: pair.getPublicKey() };
}

/** What signs with a seed. */
export class Signer {
  #pair;
  #id;

  constructor(seed) {
    this.seed = encoder.encode(seed);
    this.#pair = fromSeed(this.seed);
  }

  /** The signature of a text, as unpadded URL base64. */
  prove(text) {
    return base64url(this.#pair.sign(encoder.encode(text)));
  }

  /** The value of the header Earlyage-Signature for a body. */
  async sign(body) {
    this.#id ??= await keyID(this.#pair.getPublicKey());
    return `ed25519 ${this.#id} ${base64url(this.#pair.sign(encodePAE(contentType, body)))}`;
  }
}

/** "DSSEv1" SP LEN(type) SP type SP LEN(body) SP body; lengths in bytes. */
export function encodePAE(type, body) {
  const head = encoder.encode(`DSSEv1 ${encoder.encode(type).length} ${type} ${body.length} `);
  const all = new Uint8Array(head.length + body.length);
  all.set(head);
  all.set(body, head.length);
  return all;
}

/** The first 16 hexadecimal digits of the SHA-256 of a public key. */
async function keyID(key) {
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", rawKey(key)));
  return hex(sum.subarray(0, 8));
}

/** The 32 bytes of a public nkey: base32 of prefix, key and checksum. */
function rawKey(key) {
  const out = [];
  let bits = 0, value = 0;
  for (const c of key) {
    value = ((value << 5) | "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567".indexOf(c)) & 0xffff;
    bits += 5;
    if (bits >= 8) {
      bits -= 8;
      out.push((value >> bits) & 0xff);
    }
  }
  return new Uint8Array(out.slice(1, 33));
}

export function hex(bytes) {
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

function base64url(bytes) {
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}
