// Prints the names of the fields that are read, as two dictionaries of HL7
// version 2 have them, and the codes of the tables that are mapped.
//
// node hl7.js > internal/read/hl7/testdata/hl7.tsv
const older = require('hl7-dictionary');
const newer = require('hl7v2-dictionary').dictionaries['2.8'];
const read = {
  MSH: [7, 9, 18], PID: [3, 7, 8], PV1: [3, 10], ORC: [12], OBR: [7, 22], OBX: [2, 3, 5, 6, 8, 11, 14, 19, 21], SPM: [17], BHS: [1, 2], BTS: [1], FTS: [1], BPO: [13],
  BPX: [2, 3, 4, 5, 6, 8, 10, 11, 13, 14, 15, 16, 17, 18], BTX: [2, 3, 4, 5, 7, 8, 9, 10, 11, 12, 13, 16, 17, 18],
};
const name = f => (f ? (f.desc || '').trim().replace(/\s+/g, ' ') : '-');
console.log('# What make test-reference prints: fields by hl7-dictionary 1.0.1 (version 2.5.1) and hl7v2-dictionary 1.8.0');
console.log('# (version 2.8), and codes of tables by the former. field, segment, number, name in 2.5.1, name in 2.8;');
console.log('# code, table, code.');
for (const [segment, fields] of Object.entries(read)) {
  for (const n of fields) {
    console.log(['field', segment, n, name(older.definitions['2.5.1'].segments[segment].fields[n - 1]), name(newer.segments[segment].fields[n])].join('\t'));
  }
}
for (const table of ['1', '85', '510', '511', '513', '514']) {
  for (const code of Object.keys(older.tables[table].values)) console.log(['code', table.padStart(4, '0'), code].join('\t'));
}
