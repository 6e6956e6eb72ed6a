import { defineConfig } from "vite";

export default defineConfig({
  base: "/",
  build: {
    assetsDir: "web",
    // Everything in files of their own: the policy of the page allows nothing inline.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: "es2022",
    chunkSizeWarningLimit: 900,
  },
});
