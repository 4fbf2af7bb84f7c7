// Writes exceljs.xlsx and exceljs-1904.xlsx: workbooks of another writer than
// ours (exceljs 4.4.0, MIT), with invented rows. Run again only to change them:
//   npm install exceljs@4.4.0 && node make.js
const excel = require('exceljs');

const at = (text) => new Date(text + 'Z'); // exceljs writes the UTC clock as the wall's

async function write(name, date1904) {
  const book = new excel.Workbook();
  book.properties.date1904 = date1904;
  const sheet = book.addWorksheet('Issues');
  sheet.getRow(3).values = [, 'DonationNo', 'Prod', 'HospNo', 'IssueTime', 'Expires', 'Volume', 'Checked', 'Reason'];
  const rows = [
    ['G123426000001', 'PLA1', 1234567890123, at('2026-10-01T10:15:00'), at('2026-10-02T00:00:00'), 275, true, 'Bleeding'],
    ['G123426000002', 'PLA1', 'H0000002', at('2026-10-25T01:30:00'), at('2026-10-26T00:00:00'), 274.9, false, { richText: [{ text: 'Pre-' }, { font: { bold: true }, text: 'op' }] }],
    ['G123426000003', 'PLA1', { formula: 'C6', result: 'H0000002' }, at('2026-10-31T23:59:59'), null, { formula: '550/2', result: 275 }, true, { error: '#N/A' }],
    ['G123426000004', 'PLA1', { text: 'H0000004', hyperlink: 'http://localhost/' }, at('2026-10-31T23:59:59.250'), null, 1.1 * 3, null, 'a "quoted", text\nof two lines <&>'],
  ];
  rows.forEach((row, i) => { sheet.getRow(5 + i + (i > 1 ? 2 : 0)).values = [, ...row]; });
  for (const n of [5, 6, 9, 10]) {
    sheet.getCell('D' + n).numFmt = 'dd/mm/yyyy hh:mm';
    sheet.getCell('E' + n).numFmt = 'dd/mm/yyyy';
    sheet.getCell('C' + n).numFmt = '0';
    sheet.getCell('F' + n).numFmt = '0.0 "mL"';
  }
  const hidden = book.addWorksheet('Codes', { state: 'hidden' });
  hidden.addRow(['Code', 'Means']);
  hidden.addRow(['PLA1', 'fresh frozen plasma']);
  await book.xlsx.writeFile(name);
}

write('exceljs.xlsx', false).then(() => write('exceljs-1904.xlsx', true));
