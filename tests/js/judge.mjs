// Reads cases as JSON, writes what the tablet says of each.
import {readFileSync} from "node:fs";
import {judge} from "../../static/js/bounds.js";

const cases = JSON.parse(readFileSync(0, "utf8"));
process.stdout.write(JSON.stringify(cases.map((one) => judge(one))));
