// Runs inside V8 beside the WebAssembly module. Numbers, typed arrays and text are all that crosses.
import Module from "manifold.js";

let wasm;
let solids = [];

function keep(solid) {
    const status = solid.status();
    if (status !== "NoError")
        throw new Error(status);
    solids.push(solid);
    return solids.length - 1;
}

globalThis.engine = {
    bytes: count => new Uint8Array(count),
    floats: count => new Float32Array(count),
    words: count => new Uint32Array(count),

    // Compiled and started without waiting: there is no event loop here that could wake us.
    start(wasmBinary) {
        Module({
            instantiateWasm(imports, done) {
                const module = new WebAssembly.Module(wasmBinary);
                done(new WebAssembly.Instance(module, imports), module);
            },
        }).then(m => {
            m.setup();
            wasm = m;
        });
    },

    started: () => wasm !== undefined,

    add(positions, triangles, faces) {
        return keep(new wasm.Manifold(new wasm.Mesh({
            numProp: 3,
            vertProperties: positions,
            triVerts: triangles,
            runIndex: Uint32Array.of(0, triangles.length),
            runOriginalID: Uint32Array.of(wasm.Manifold.reserveIDs(1)),
            faceID: faces,
        })));
    },

    combine(operation, text) {
        return keep(wasm.Manifold[operation](text.split(" ").map(i => solids[i])));
    },

    read(i) {
        const mesh = solids[i].getMesh();
        return { positions: mesh.vertProperties, triangles: mesh.triVerts, faces: mesh.faceID };
    },
};
