// Photos: made as small as serves, hashed, and kept as bytes.

import { h } from "./walk-controls.js";
import { keepPhoto } from "./walk-store.js";

const LONGEST = 2048; // pixels of a photo's longer side

/** Takes a photo of a thing into what is kept on the device. */
export async function takePhoto(walk, file, name) {
  const blob = await smaller(file);
  const bytes = await blob.arrayBuffer();
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  const sha256 = Array.from(digest, (one) => one.toString(16).padStart(2, "0")).join("");
  await keepPhoto({ id: crypto.randomUUID(), walk: walk.id, name, media: blob.type, bytes, sha256, at: Date.now(), sent: false });
}

/** A photo no larger than it needs to be; as it came where the browser can't read it. */
async function smaller(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    return file;
  }
  const by = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = h("canvas", { width: Math.round(picture.width * by), height: Math.round(picture.height * by) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return (await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.85))) ?? file;
}
