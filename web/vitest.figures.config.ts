import { defineConfig } from "vitest/config";

// What `make bench` prints of the page: measured, not asserted.
export default defineConfig({
  test: { include: ["e2e/figures.ts"], environment: "node", fileParallelism: false, testTimeout: 180_000, hookTimeout: 60_000, passWithNoTests: false },
});
