/**
 * Where a surface crosses the slices of a volume. Vertices are mapped to index space once; a slice is then a plane of one constant index,
 * and each triangle it cuts gives one segment, by linear interpolation along its edges: it is the surface itself.
 * Cost: one sort by slice for each direction, linear in the triangles; a slice costs the triangles that it cuts.
 */

import type { Surface } from "./glb";
import type { Space } from "./space";

export class Outliner {
  readonly #index: Float32Array;
  readonly #sorted: (Sorted | null)[] = [null, null, null];

  constructor(readonly surface: Surface, readonly space: Space) {
    this.#index = space.indicesOf(surface.positions);
  }

  /** Segments (u0, v0, u1, v1, ...) in sample coordinates of the slice. */
  cut(across: number, down: number, fixed: 0 | 1 | 2, slice: number): Float32Array {
    const sorted = (this.#sorted[fixed] ??= this.#sort(fixed));
    if (slice < 0 || slice >= this.space.size[fixed]) return new Float32Array(0);
    const { indices } = this.surface;
    const from = sorted.starts[slice];
    const to = sorted.starts[slice + 1];
    const segments = new Float32Array(4 * (to - from));
    let count = 0;
    for (let n = from; n < to; n++) {
      const t = 3 * sorted.triangles[n];
      for (let e = 0; e < 3; e++) {
        const a = 3 * indices[t + e];
        const b = 3 * indices[t + ((e + 1) % 3)];
        const da = this.#index[a + fixed] - slice;
        const db = this.#index[b + fixed] - slice;
        // A vertex on the slice counts as above it, so each cut triangle has exactly two cut edges.
        if (da >= 0 === db >= 0) continue;
        const share = da / (da - db);
        segments[count++] = this.#index[a + across] + share * (this.#index[b + across] - this.#index[a + across]);
        segments[count++] = this.#index[a + down] + share * (this.#index[b + down] - this.#index[a + down]);
      }
    }
    return segments.subarray(0, count);
  }

  /** Triangles by the slices they reach: a counting sort. */
  #sort(fixed: 0 | 1 | 2): Sorted {
    const { indices } = this.surface;
    const slices = this.space.size[fixed];
    const starts = new Uint32Array(slices + 2);
    const each = (use: (slice: number, triangle: number) => void) => {
      for (let t = 0; t < indices.length; t += 3) {
        const a = this.#index[3 * indices[t] + fixed];
        const b = this.#index[3 * indices[t + 1] + fixed];
        const c = this.#index[3 * indices[t + 2] + fixed];
        const first = Math.max(0, Math.ceil(Math.min(a, b, c)));
        const last = Math.min(slices - 1, Math.floor(Math.max(a, b, c)));
        for (let s = first; s <= last; s++) use(s, t / 3);
      }
    };
    each((s) => starts[s + 2]++);
    for (let s = 2; s < starts.length; s++) starts[s] += starts[s - 1];
    const triangles = new Uint32Array(starts[slices + 1]);
    each((s, t) => (triangles[starts[s + 1]++] = t));
    return { starts, triangles };
  }
}

interface Sorted {
  /** Where each slice begins in triangles; one more at the end. */
  readonly starts: Uint32Array;
  readonly triangles: Uint32Array;
}
