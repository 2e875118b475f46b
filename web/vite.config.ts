import { defineConfig } from "vite";

// The page is served under a path that begins with the bench's token, so that all addresses are relative.
export default defineConfig({
  base: "./",
  build: {
    outDir: "../src/instep/bench/page",
    emptyOutDir: true,
    target: "es2022",
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
});
