/** Reads model.glb as this program writes it (docs/formats/meshes.md): positions in mm, LPS; colours linear, 16 bits a channel. */

export interface Surface {
  readonly name: string;
  /** x, y, z of each vertex, LPS, mm. */
  readonly positions: Float32Array;
  /** r, g, b, a of each vertex, linear. */
  readonly colours: Uint16Array;
  readonly indices: Uint32Array;
}

interface Gltf {
  readonly meshes: readonly { readonly name: string; readonly primitives: readonly [{ readonly attributes: { readonly POSITION: number; readonly COLOR_0: number }; readonly indices: number }] }[];
  readonly accessors: readonly { readonly bufferView: number; readonly count: number }[];
  readonly bufferViews: readonly { readonly byteOffset: number; readonly byteLength: number }[];
}

const MAGIC = 0x46546c67;

export function readGlb(bytes: ArrayBuffer): Surface[] {
  const view = new DataView(bytes);
  if (bytes.byteLength < 20 || view.getUint32(0, true) !== MAGIC) throw new Error("not a GLB file");
  const jsonLength = view.getUint32(12, true);
  const gltf = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 20, jsonLength))) as Gltf;
  const buffer = 20 + jsonLength + 8;
  // Chunks begin on a multiple of four, so the arrays can lie in the file's own memory.
  const place = (accessor: number) => buffer + gltf.bufferViews[gltf.accessors[accessor].bufferView].byteOffset;
  return gltf.meshes.map(({ name, primitives: [p] }) => ({
    name,
    positions: new Float32Array(bytes, place(p.attributes.POSITION), 3 * gltf.accessors[p.attributes.POSITION].count),
    colours: new Uint16Array(bytes, place(p.attributes.COLOR_0), 4 * gltf.accessors[p.attributes.COLOR_0].count),
    indices: new Uint32Array(bytes, place(p.indices), gltf.accessors[p.indices].count),
  }));
}
