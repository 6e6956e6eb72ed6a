/** Where samples lie in the patient, and how a slice is laid out on a screen. LPS, millimetres. */

export type V3 = readonly [number, number, number];

export const add = (a: V3, b: V3): V3 => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a: V3, b: V3): V3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const mul = (a: V3, s: number): V3 => [a[0] * s, a[1] * s, a[2] * s];
export const dot = (a: V3, b: V3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a: V3, b: V3): V3 => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
export const length = (a: V3): number => Math.sqrt(dot(a, a));
export const unit = (a: V3): V3 => mul(a, 1 / (length(a) || 1));

export const hundredths = (c: number): number => Math.round(c * 100) / 100;
/** A place as it is written down: to a hundredth of a millimetre. */
export const rounded = (a: V3): V3 => [hundredths(a[0]), hundredths(a[1]), hundredths(a[2])];

/** What the service says of an unpacked volume. */
export interface VolumeHeader {
  readonly columns: number;
  readonly rows: number;
  readonly slices: number;
  readonly columnStepMm: V3;
  readonly rowStepMm: V3;
  readonly sliceOriginsMm: readonly V3[];
  readonly tiltDeg: number;
  readonly minHu: number;
  readonly maxHu: number;
  readonly countsByHu: readonly number[];
}

// Below this share of a direction no second letter is shown: 14.5 degrees.
const SECOND_LETTER = 0.25;

/** The letters of a direction, the strongest first: L R, P A, H F. */
export function lettersOf(direction: V3): string {
  const names = [direction[0] >= 0 ? "L" : "R", direction[1] >= 0 ? "P" : "A", direction[2] >= 0 ? "H" : "F"];
  return [0, 1, 2]
    .filter((axis) => Math.abs(direction[axis]) >= SECOND_LETTER)
    .sort((a, b) => Math.abs(direction[b]) - Math.abs(direction[a]))
    .map((axis) => names[axis])
    .join("");
}

/** The map from index to patient of docs/methods/acquire.md: one affine for each pair of neighbouring slices. */
export class Space {
  readonly size: V3;
  readonly #normal: V3;
  /** What the way back needs: depth and step of each slice, and what a place in a slice is multiplied with to give its column and its row. */
  readonly #inverse: { readonly depths: readonly number[]; readonly steps: readonly V3[]; readonly origins: readonly V3[]; readonly across: V3; readonly down: V3 };

  constructor(readonly header: VolumeHeader) {
    this.size = [header.columns, header.rows, header.slices];
    const { columnStepMm: c, rowStepMm: r, sliceOriginsMm: origins } = header;
    this.#normal = unit(cross(c, r));
    const [cc, rr, cr] = [dot(c, c), dot(r, r), dot(c, r)];
    const det = cc * rr - cr * cr;
    this.#inverse = {
      depths: origins.map((o) => dot(this.#normal, o)),
      steps: origins.map((_, k) => this.sliceStep(k)),
      origins,
      across: mul(sub(mul(c, rr), mul(r, cr)), 1 / det),
      down: mul(sub(mul(r, cc), mul(c, cr)), 1 / det),
    };
  }

  toPatient(i: number, j: number, k: number): V3 {
    const at = this.#interval(Math.floor(k));
    const { columnStepMm: c, rowStepMm: r, sliceOriginsMm: o } = this.header;
    const s = this.sliceStep(at);
    const t = k - at;
    return [
      o[at][0] + s[0] * t + c[0] * i + r[0] * j,
      o[at][1] + s[1] * t + c[1] * i + r[1] * j,
      o[at][2] + s[2] * t + c[2] * i + r[2] * j,
    ];
  }

  toIndex(p: V3): V3 {
    const at: [number, number, number] = [0, 0, 0];
    this.#index(p[0], p[1], p[2], at, 0);
    return at;
  }

  /** The same for many places (x, y, z of each), with no array for each of them. */
  indicesOf(positions: Float32Array): Float32Array {
    const indices = new Float32Array(positions.length);
    for (let v = 0; v < positions.length; v += 3) this.#index(positions[v], positions[v + 1], positions[v + 2], indices, v);
    return indices;
  }

  #index(x: number, y: number, z: number, to: Float32Array | [number, number, number], from: number): void {
    const { depths, steps, origins, across, down } = this.#inverse;
    const n = this.#normal;
    const depth = n[0] * x + n[1] * y + n[2] * z;
    let low = 0;
    let high = Math.max(0, depths.length - 2);
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (depths[middle] <= depth) low = middle;
      else high = middle - 1;
    }
    const step = steps[low];
    const o = origins[low];
    const t = (depth - depths[low]) / (n[0] * step[0] + n[1] * step[1] + n[2] * step[2]);
    const [qx, qy, qz] = [x - o[0] - t * step[0], y - o[1] - t * step[1], z - o[2] - t * step[2]];
    to[from] = qx * across[0] + qy * across[1] + qz * across[2];
    to[from + 1] = qx * down[0] + qy * down[1] + qz * down[2];
    to[from + 2] = low + t;
  }

  sliceStep(k: number): V3 {
    const o = this.header.sliceOriginsMm;
    if (o.length === 1) return this.#normal;
    const at = Math.min(Math.max(k, 0), o.length - 2);
    return sub(o[at + 1], o[at]);
  }

  get centre(): V3 {
    return this.toPatient((this.size[0] - 1) / 2, (this.size[1] - 1) / 2, (this.size[2] - 1) / 2);
  }

  /** True when all slice steps are the same to a micrometre. */
  get isEven(): boolean {
    const first = this.sliceStep(0);
    return this.header.sliceOriginsMm.every((_, k) => length(sub(this.sliceStep(k), first)) < 1e-3);
  }

  clamp(index: V3): V3 {
    return [0, 1, 2].map((a) => Math.min(Math.max(index[a], 0), this.size[a] - 1)) as unknown as V3;
  }

  #interval(whole: number): number {
    return Math.min(Math.max(whole, 0), Math.max(0, this.size[2] - 2));
  }
}

export type AxisName = "column" | "row" | "slice";
export type Plane = "transverse" | "frontal" | "sagittal";

const AXES: Record<AxisName, { readonly across: 0 | 1 | 2; readonly down: 0 | 1 | 2; readonly fixed: 0 | 1 | 2 }> = {
  slice: { across: 0, down: 1, fixed: 2 },
  row: { across: 0, down: 2, fixed: 1 },
  column: { across: 1, down: 2, fixed: 0 },
};

// Which way is right and which is down on the screen, as on film: the patient faces the viewer, or is seen from the feet.
const SCREEN: Record<Plane, { readonly right: V3; readonly down: V3 }> = {
  transverse: { right: [1, 0, 0], down: [0, 1, 0] },
  frontal: { right: [1, 0, 0], down: [0, 0, -1] },
  sagittal: { right: [0, 1, 0], down: [0, 0, -1] },
};

/** How the slices of one index direction lie on the screen: in millimetres along two orthogonal directions of the patient. */
export class Layout {
  readonly across: 0 | 1 | 2;
  readonly down: 0 | 1 | 2;
  readonly fixed: 0 | 1 | 2;
  readonly plane: Plane;
  /** Unit vectors of the patient that point to the right and down on the screen. */
  readonly right: V3;
  readonly below: V3;

  constructor(readonly space: Space, readonly axis: AxisName) {
    ({ across: this.across, down: this.down, fixed: this.fixed } = AXES[axis]);
    const u = unit(this.#direction(this.across));
    const v = unit(this.#direction(this.down));
    const n = cross(u, v).map(Math.abs);
    this.plane = n[2] >= n[0] && n[2] >= n[1] ? "transverse" : n[1] >= n[0] ? "frontal" : "sagittal";
    const wanted = SCREEN[this.plane];
    const [along, other] = Math.abs(dot(u, wanted.right)) >= Math.abs(dot(v, wanted.right)) ? [u, v] : [v, u];
    this.right = mul(along, dot(along, wanted.right) >= 0 ? 1 : -1);
    const rest = unit(sub(other, mul(this.right, dot(other, this.right))));
    this.below = mul(rest, dot(rest, wanted.down) >= 0 ? 1 : -1);
  }

  /** Place on the screen, in mm, of a sample of a slice; fractions are between samples. */
  place(u: number, v: number, fixed: number): readonly [number, number] {
    return this.placeOf(this.patient(u, v, fixed));
  }

  placeOf(p: V3): readonly [number, number] {
    return [dot(p, this.right), dot(p, this.below)];
  }

  patient(u: number, v: number, fixed: number): V3 {
    const index = [0, 0, 0];
    index[this.across] = u;
    index[this.down] = v;
    index[this.fixed] = fixed;
    return this.space.toPatient(index[0], index[1], index[2]);
  }

  /** The sample coordinates (u, v) of a place on the screen, on a given slice. */
  sample(x: number, y: number, fixed: number): readonly [number, number] {
    // The slice is one plane (or a fan of them, when slices are uneven): start from its centre and correct, which is exact after one step within one pair of slices.
    let u = (this.space.size[this.across] - 1) / 2;
    let v = (this.space.size[this.down] - 1) / 2;
    for (let round = 0; round < 12; round++) {
      const [px, py] = this.place(u, v, fixed);
      const [ax, ay] = this.place(u + 1, v, fixed);
      const [bx, by] = this.place(u, v + 1, fixed);
      const [a, b, c, d] = [ax - px, bx - px, ay - py, by - py];
      const det = a * d - b * c;
      const du = ((x - px) * d - (y - py) * b) / det;
      const dv = ((y - py) * a - (x - px) * c) / det;
      u += du;
      v += dv;
      if (Math.abs(du) + Math.abs(dv) < 1e-7) break;
    }
    return [u, v];
  }

  get letters(): { readonly left: string; readonly right: string; readonly top: string; readonly bottom: string } {
    return {
      left: lettersOf(mul(this.right, -1)),
      right: lettersOf(this.right),
      top: lettersOf(mul(this.below, -1)),
      bottom: lettersOf(this.below),
    };
  }

  #direction(axis: 0 | 1 | 2): V3 {
    const { columnStepMm, rowStepMm, sliceOriginsMm: o } = this.space.header;
    return axis === 0 ? columnStepMm : axis === 1 ? rowStepMm : o.length > 1 ? sub(o[o.length - 1], o[0]) : this.space.sliceStep(0);
  }
}
