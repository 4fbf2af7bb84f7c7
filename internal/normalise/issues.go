package normalise

import (
	"slices"

	"thawline/internal/contract"
)

// product is an entry of the product map, ready to be copied into a row.
type product struct {
	code, bagCode, component, product []byte
	nominal                           int64 // thousandths of a mL, 0 where not stated
	batch, plasma                     bool
}

func (m *Mapper) prepareProducts() {
	m.products = map[string]*product{}
	for key, p := range m.site.Products {
		nominal, _ := thousandths(p.NominalML)
		m.products[key] = &product{code: []byte(p.Code), bagCode: []byte(m.site.BagCode(p.Code)), component: []byte(p.Component), product: []byte(p.Product),
			nominal: nominal, batch: p.Batch, plasma: p.Component == "plasma"}
	}
}

// Places of the times of issues in Mapper.times, which follow the contract's order.
const (
	requestedAt = iota
	thawedAt
	issuedAt
	leftStorageAt
	startedAt
	endedAt
	returnedAt
	discardedAt
)

func (m *Mapper) prepareIssues() {
	m.add = (*Batch).issue
	m.prepareProducts()
	for name, place := range map[string]int{"requested_at": requestedAt, "thawed_at": thawedAt, "issued_at": issuedAt, "left_storage_at": leftStorageAt,
		"started_at": startedAt, "ended_at": endedAt, "returned_at": returnedAt, "discarded_at": discardedAt} {
		if m.timeIndex(name) != place {
			panic("normalise: the contract orders the times of issues in another way")
		}
	}
	m.order = [][2]int{{requestedAt, issuedAt}, {thawedAt, issuedAt}, {issuedAt, startedAt}, {issuedAt, endedAt}, {startedAt, endedAt}, {issuedAt, returnedAt}, {issuedAt, discardedAt}}
}

// theProduct looks up the product code of a row.
func (b *Batch) theProduct(raw []byte) *product {
	b.scratch = fold(b.scratch[:0], raw)
	return b.m.products[string(b.scratch)]
}

// unitNumber fills unit_no.
func (b *Batch) unitNumber(batch bool) {
	column := b.m.at["unit_no"]
	raw := b.text(column)
	if len(raw) == 0 {
		b.missing("unit_no")
		return
	}
	number, removed, mismatch := donation(b.number, raw, batch)
	b.number = number[:0]
	switch {
	case removed:
		b.count(countCheckRemoved)
	case mismatch:
		b.doubt("unit_no", raw, "noted", reasonCheckDigit)
	}
	if len(number) == 0 {
		b.reject("unit_no", raw, reasonNoNumberIn)
		return
	}
	b.set(column, number)
}

// volume reads mL into a column, in thousandths; known is false where there is none.
func (b *Batch) volume(column int) (v int64, known bool) {
	raw := b.text(column)
	if len(raw) == 0 {
		return 0, false
	}
	ml, ok := b.decimal(column, raw)
	if ok {
		v, ok = thousandths(ml)
	}
	if !ok {
		why, part := b.whyNot(column, raw)
		if why == nil {
			why = reasonNoVolume
		}
		b.doubt(b.m.columns[column].Name, raw, "dropped", why, part)
		return 0, false
	}
	b.setInt(column, v)
	return v, true
}

// issue reads one row of the blood bank's log.
func (b *Batch) issue() {
	m := b.m
	raw := b.text(m.at["product_code"])
	var p *product
	if len(raw) == 0 {
		b.missing("product_code")
		p = &product{}
	} else if p = b.theProduct(raw); p == nil {
		b.leave(raw, nil)
		return
	}
	b.common()
	b.set(m.at["product_code"], p.code)
	b.set(m.at["bag_code"], p.bagCode)
	b.set(m.at["component"], p.component)
	b.row.putInt(m.at["is_batch"], 0)
	if p.batch {
		b.setInt(m.at["is_batch"], 1)
	}
	if len(p.product) > 0 {
		b.set(m.at["product"], p.product)
	}
	if p.nominal > 0 {
		b.setInt(m.at["nominal_ml"], p.nominal)
	}
	b.unitNumber(p.batch)
	b.volumes(p)
	b.rawAndCode("indication", "indication_raw")
	b.rawAndCode("discard_reason", "discard_reason_raw")
	b.readTimes(b.writtenIssue()...)
	b.needTime(startedAt, false)
	b.needTime(endedAt, false)
	b.orderOfIssue()
	b.anyTime()
	b.putTimes()
	if t := &b.times[issuedAt]; t.known {
		b.setInt(m.at["issued_local"], t.lo+m.clock.offsetAt(floorDiv(t.lo, second), &b.hint)*second)
	}
	b.fate()
	if b.done() {
		b.keep(m.table.Name)
	}
}

// writtenIssue names issued_at as required where something is written there:
// a row that tells of an issue at no known time is rejected.
func (b *Batch) writtenIssue() []int {
	column := b.m.times[issuedAt]
	if len(b.text(column)) > 0 || b.spoiltBy(column) != nil {
		return []int{issuedAt}
	}
	return nil
}

// anyTime rejects a row that is left without a time of issue, thawing and discard.
func (b *Batch) anyTime() {
	anchors := []int{issuedAt, thawedAt, discardedAt}
	for _, i := range anchors {
		if b.times[i].known {
			return
		}
	}
	said := len(b.writtenIssue()) > 0 // Rejected for it already.
	for _, i := range anchors[1:] {
		if said {
			break
		}
		column, t := b.m.times[i], &b.times[i]
		why := t.wrong
		if len(t.raw) == 0 {
			why = b.spoiltBy(column)
		}
		if why != nil {
			b.reject(b.m.columns[column].Name, t.raw, why)
		}
	}
	if !said && b.apart == "" && !slices.ContainsFunc(b.faults, func(f fault) bool { return f.column == "thawed_at" || f.column == "discarded_at" }) {
		b.reject("issued_at", nil, reasonNoTimes)
	}
}

// volumes fills volume_ml and transfused_ml within their limits.
func (b *Batch) volumes(p *product) {
	bag, given := b.m.at["volume_ml"], b.m.at["transfused_ml"]
	whole, known := b.volume(bag)
	if known && p.plasma && (whole < 5_000 || whole > 700_000) {
		b.row.take(bag)
		known = false
		b.doubt("volume_ml", b.text(bag), "suspect", reasonBagVolume)
	}
	if !known {
		whole = p.nominal
	}
	ml, known := b.volume(given)
	switch {
	case !known:
	case ml < 0:
		b.row.take(given)
		b.doubt("transfused_ml", b.text(given), "suspect", reasonUnderZero)
	case whole > 0 && ml*10 > whole*11:
		b.row.take(given)
		b.doubt("transfused_ml", b.text(given), "suspect", reasonOverBag)
	}
}

// rawAndCode fills a code from its own column, or from the raw one beside it,
// and keeps what was written.
func (b *Batch) rawAndCode(name, rawName string) {
	column, rawColumn := b.m.at[name], b.m.at[rawName]
	own, raw := b.text(column), b.text(rawColumn)
	if len(raw) == 0 {
		raw = own
	}
	if len(raw) > 0 {
		b.set(rawColumn, raw)
	}
	if len(own) == 0 {
		own = raw
	}
	b.optionalCode(column, own)
}

const (
	sevenDays = 7 * dayUS
	oneDay    = dayUS
)

// orderOfIssue asks whether the row's times can have happened. issued_at is the
// anchor.
func (b *Batch) orderOfIssue() {
	b.notAfter(requestedAt, issuedAt, reasonAfter, "issued_at")
	b.within(requestedAt, issuedAt, sevenDays, 1<<60, reasonDaysBefore, "7 days", "issued_at")
	b.notAfter(thawedAt, issuedAt, reasonAfter, "issued_at")
	b.within(thawedAt, issuedAt, sevenDays, 1<<60, reasonDaysBefore, "7 days", "issued_at")
	b.within(leftStorageAt, issuedAt, oneDay, oneDay, reasonHoursFrom, "24 h", "issued_at")
	b.notBefore(startedAt, issuedAt, reasonBefore, "issued_at")
	b.within(startedAt, issuedAt, 1<<60, oneDay, reasonHoursAfter, "24 h", "issued_at")
	if b.times[startedAt].known {
		b.notBefore(endedAt, startedAt, reasonBefore, "started_at")
	} else {
		b.notBefore(endedAt, issuedAt, reasonBefore, "issued_at")
	}
	b.within(endedAt, issuedAt, 1<<60, oneDay, reasonHoursAfter, "24 h", "issued_at")
	b.notBefore(returnedAt, issuedAt, reasonBefore, "issued_at")
	b.within(returnedAt, issuedAt, 1<<60, sevenDays, reasonHoursAfter, "7 days", "issued_at")
	b.notBefore(discardedAt, issuedAt, reasonBefore, "issued_at")
	b.within(discardedAt, issuedAt, 1<<60, sevenDays, reasonHoursAfter, "7 days", "issued_at")
}

// fates by index of the contract's codes.
var fates = func() map[string]int {
	places := map[string]int{}
	for i, word := range contract.Issues.Column("fate").Codes {
		places[word] = i
	}
	return places
}()

// fate fills fate: as mapped, unknown where a written word is in no map, and by
// the times where nothing is written.
func (b *Batch) fate() {
	column := b.m.at["fate"]
	words := b.m.codes[column].words
	if raw := b.text(column); len(raw) > 0 {
		i, known := b.code(column, raw)
		if !known {
			b.unknownWord(column, raw)
			i = fates["unknown"]
		}
		b.set(column, words[i])
		return
	}
	fate := "unknown"
	switch {
	case b.spoiltBy(column) != nil: // Written, and lost on the way.
	case b.times[startedAt].known:
		fate = "transfused"
	case b.times[discardedAt].known:
		fate = "discarded"
	case b.times[returnedAt].known:
		fate = "returned"
	case b.times[issuedAt].known:
		fate = "presumed"
	}
	b.set(column, words[fates[fate]])
}

func (m *Mapper) prepareBedside() {
	m.add = (*Batch).bedside
	m.prepareProducts()
	m.order = [][2]int{{m.timeIndex("started_at"), m.timeIndex("ended_at")}}
}

// bedside reads what the ward recorded of a unit. Its volume is held to the
// limits once its issue is known.
func (b *Batch) bedside() {
	m := b.m
	var p *product
	if raw := b.text(m.at["product_code"]); len(raw) > 0 {
		if p = b.theProduct(raw); p == nil {
			b.leave(raw, nil)
			return
		}
		b.set(m.at["product_code"], p.code)
		b.set(m.at["bag_code"], p.bagCode)
	}
	b.common()
	b.unitNumber(p != nil && p.batch)
	b.volume(m.at["transfused_ml"])
	const started, ended = 0, 1
	b.readTimes(started)
	b.needTime(started, true)
	b.needTime(ended, false)
	b.notBefore(ended, started, reasonBefore, "started_at")
	b.putTimes()
	if b.done() {
		b.keep(m.table.Name)
	}
}
