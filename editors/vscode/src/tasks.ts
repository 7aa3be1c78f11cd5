// Tasks: check or build the file in front, with the findings in the list of problems.

import { type Disposable, ShellExecution, Task, TaskGroup, type TaskDefinition, TaskScope, tasks } from "vscode";

import { compiler } from "./settings";

interface RipienoTask extends TaskDefinition {
    command: "check" | "build";
    file?: string;
    arguments?: string[];
}

const MATCHERS = ["$ripieno", "$ripieno-advice"];

export function registerTasks(): Disposable {
    return tasks.registerTaskProvider("ripieno", {
        provideTasks: () => [
            task({ type: "ripieno", command: "check" }, TaskGroup.Test),
            task({ type: "ripieno", command: "build" }, TaskGroup.Build),
        ],
        resolveTask: (asked) => {
            const definition = asked.definition as RipienoTask;
            return definition.command ? task(definition, undefined, asked) : undefined;
        },
    });
}

function task(definition: RipienoTask, group?: TaskGroup, asked?: Task): Task {
    const file = definition.file ?? "${file}";
    const execution = new ShellExecution(compiler(), [
        definition.command,
        file,
        "--format",
        "short",
        ...(definition.arguments ?? []),
    ]);
    const scope = asked?.scope ?? TaskScope.Workspace;
    const made = new Task(definition, scope, asked?.name ?? definition.command, "ripieno", execution, MATCHERS);
    if (group) {
        made.group = group;
    }
    return made;
}
