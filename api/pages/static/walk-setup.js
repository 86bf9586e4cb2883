// A walk's answers as a setup that the server takes.

import { written } from "./walk-controls.js";
import { answered, thingsOf } from "./walk-course.js";

/** The setup as it is sent; written once, so that sending it again sends the same. */
export function setupOf(walk, list, answers) {
  const setup = { unit: {}, job: { crop: walk.crop, header: {} }, taken: { at: new Date().toISOString(), by: walk.by, state: walk.state } };
  if (walk.hours) setup.unit.engine_hours = `${walk.hours} h`;
  if (walk.header) setup.job.header.kind = walk.header;
  for (const thing of thingsOf(list)) {
    const answer = answers.get(thing.name);
    if (!answered(answer)) continue;
    const sides = answer.sides.map((one, side) => seen(answer, side, written(thing, one, answer.unit)));
    const value = thing.sided ? { left: sides[0] ?? null, right: sides[1] ?? null } : sides[0];
    const section = { job: setup.job, header: setup.job.header, fitted: (setup.unit.fitted ??= {}) }[thing.section];
    (section ?? (setup[thing.section] ??= {}))[thing.key ?? thing.name] = value;
  }
  if (!Object.keys(setup.unit.fitted ?? {}).length) delete setup.unit.fitted;
  return setup;
}

/** A side's answer; what was said of it in one look with others has the time of that look, so that the record shows it. */
function seen(answer, side, value) {
  return answer.looked?.includes(side) ? { value, with: `look ${answer.look.slice(0, 19)}Z` } : value;
}
