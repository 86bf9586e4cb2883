// Judges answers by the published rules where there is no server at hand, by Kleene's strong logic: true, false, or
// null for not known. The vocabulary is that of api/pages/walking/published.py; the server judges again and decides.

const ROUNDING = 1e-9; // share of a limit by which a value may miss it and still lie on it

/** The verdict of a question: 'kept', 'broken', 'unknown' or 'not asked'.
 *  values: by name, canonical; [left, right] for what is taken on both sides. sided: names that are. */
export function verdict(question, values, sided) {
  const asked = question.given === null ? true : truth(question.given, values, sided);
  if (asked === false) return "not asked";
  if (question.hold === null) return "unknown";
  const holds = truth(question.hold, values, sided);
  if (holds === true) return "kept";
  return asked === null || holds === null ? "unknown" : "broken";
}

/** The truth of a condition. */
export function truth(condition, values, sided) {
  const inner = (part) => truth(part, values, sided);
  if ("known" in condition) return known(values[condition.known]);
  if ("not" in condition) {
    const found = inner(condition.not);
    return found === null ? null : !found;
  }
  if ("if" in condition) {
    const asked = inner(condition.if);
    if (asked === false) return true;
    const then = inner(condition.then);
    return asked === true || then === true ? then : null;
  }
  if ("any" in condition) {
    const found = condition.any.map(inner);
    return found.includes(true) ? true : found.includes(null) ? null : false;
  }
  if ("all" in condition) return every(condition.all.map(inner));
  if ("evidence" in condition) {
    const found = condition.evidence.map(inner);
    if (found.includes(false)) return false;
    return found.length > 0 && found.every((one) => one === null) ? null : true;
  }
  return compare(condition, values, sided.has(condition.of));
}

function known(value) {
  return value !== undefined && value !== null;
}

function every(found) {
  return found.includes(false) ? false : found.includes(null) ? null : true;
}

function compare(condition, values, isSided) {
  const value = values[condition.of] ?? null;
  if (condition.same === "") {
    const [left, right] = Array.isArray(value) ? value : [value, value];
    return same(left, right, condition.within);
  }
  if (Array.isArray(value) || (value === null && isSided)) {
    return every((value ?? [null, null]).map((one, side) => relation(condition, one, side, values)));
  }
  return relation(condition, value, -1, values);
}

function relation(condition, value, side, values) {
  if ("same" in condition) return same(value, onSide(values[condition.same], side), condition.within);
  if ("after" in condition) {
    const event = values[condition.after] ?? null;
    return value === null || event === null ? null : value >= event;
  }
  const limit = (one) => ("of" in one ? scaled(onSide(values[one.of], side), one.times) : one.value);
  if ("is" in condition) return word(value, [limit(condition.is)]);
  if ("one_of" in condition) return word(value, condition.one_of.map(limit));
  if ("at_least" in condition) return within(value, [limit(condition.at_least)], []);
  if ("at_most" in condition) return within(value, [], [limit(condition.at_most)]);
  if ("between" in condition) return within(value, [limit(condition.between[0])], [limit(condition.between[1])]);
  const middle = limit(condition.near);
  if (typeof middle !== "number" || typeof value !== "number") return null;
  const allowed = condition.share ? condition.within * Math.abs(middle) : condition.within;
  return Math.abs(value - middle) - allowed <= ROUNDING * Math.abs(middle);
}

function onSide(value, side) {
  if (Array.isArray(value)) return side < 0 ? null : value[side];
  return value ?? null;
}

function scaled(value, times) {
  return typeof value === "number" ? value * times : value;
}

function word(value, limits) {
  if (value === null) return null;
  if (limits.some((limit) => limit !== null && limit === value)) return true;
  return limits.includes(null) ? null : false;
}

function within(value, low, high) {
  if (typeof value !== "number") return null;
  if (low.some((one) => typeof one === "number" && value < one - ROUNDING * Math.abs(one))) return false;
  if (high.some((one) => typeof one === "number" && value > one + ROUNDING * Math.abs(one))) return false;
  return [...low, ...high].includes(null) ? null : true;
}

function same(value, other, tolerance) {
  if (value === null || other === null) return null;
  if (typeof value !== "number" || typeof other !== "number") return value === other;
  const larger = Math.max(Math.abs(value), Math.abs(other));
  return Math.abs(value - other) - tolerance <= ROUNDING * larger;
}

const NUMBER = /^\s*([-+−])?\s*(?:(\d+)[\s-]+(\d+)\s*\/\s*(\d+)|(\d+)\s*\/\s*(\d+)|(\d+(?:[.,]\d+)?|[.,]\d+))\s*$/;

/** A number as people write it: '12,5', '5/32', '1 1/4'. Null for what is none, NaN for what can be read two ways. */
export function readNumber(text) {
  const found = NUMBER.exec(text);
  if (found === null) return null;
  const [, sign, whole, over, under, over2, under2, decimal] = found;
  let value;
  if (decimal !== undefined) {
    const [units, rest = ""] = decimal.split(",");
    if (rest.length === 3 && units !== "" && units !== "0") return NaN;
    value = Number(decimal.replace(",", "."));
  } else {
    const by = Number(under ?? under2);
    if (by === 0) return null;
    value = Number(whole ?? 0) + Number(over ?? over2) / by;
  }
  return sign === "-" || sign === "−" ? -value : value;
}
