// What the tests ask for beside Node.js: the compiler and editors.

import { spawnSync } from "node:child_process";

/** The compiler that `run` was given, or an empty string. */
export const ripieno = process.env.RIPIENO ?? "";
const insisted = process.env.CI === "true";

/**
 * Options of a test that needs a program: it is skipped where the program is missing, and says
 * what to install; where all must be there (CI=true), it is tried and fails.
 */
export function needs(program, remedy) {
    const there = spawnSync(program, ["--version"], { stdio: "ignore" }).status === 0;
    return there || insisted ? {} : { skip: `${program} is missing: ${remedy}` };
}

/** Options of a test that needs the compiler. */
export const needsCompiler =
    ripieno !== "" || insisted ? {} : { skip: "no compiler was given: tests/editors/run target/checked/ripieno" };

/** Runs a program to its end and gives its output; whatever it ends with. */
export function run(program, args, options = {}) {
    const ended = spawnSync(program, args, { encoding: "utf8", timeout: 120_000, ...options });
    if (ended.error) {
        throw ended.error;
    }
    return ended;
}
