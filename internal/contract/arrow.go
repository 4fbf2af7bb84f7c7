package contract

import (
	"encoding/json"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
)

// Arrow returns the Arrow type of k. Times are without zone: an Arrow zone
// would make them TIMESTAMP WITH TIME ZONE in the engine, which it cannot
// compute with.
func (k Kind) Arrow() arrow.DataType {
	switch k {
	case Int:
		return arrow.PrimitiveTypes.Int64
	case Real:
		return arrow.PrimitiveTypes.Float64
	case Decimal:
		return &arrow.Decimal128Type{Precision: DecimalPrecision, Scale: DecimalScale}
	case Instant, Local:
		return &arrow.TimestampType{Unit: arrow.Microsecond}
	case Date:
		return arrow.FixedWidthTypes.Date32
	case Bool:
		return arrow.FixedWidthTypes.Boolean
	}
	return arrow.BinaryTypes.String
}

// SQL returns the engine's name of k's type.
func (k Kind) SQL() string {
	switch k {
	case Int:
		return "BIGINT"
	case Real:
		return "DOUBLE"
	case Decimal:
		return "DECIMAL(" + strconv.Itoa(DecimalPrecision) + "," + strconv.Itoa(DecimalScale) + ")"
	case Instant, Local:
		return "TIMESTAMP"
	case Date:
		return "DATE"
	case Bool:
		return "BOOLEAN"
	}
	return "VARCHAR"
}

// Schema returns the Arrow schema of columns, each field with its unit, codes
// and description as metadata.
func Schema(columns []Column) *arrow.Schema {
	fields := make([]arrow.Field, len(columns))
	for i, c := range columns {
		keys := []string{"type", "description"}
		values := []string{c.Kind.String(), c.Doc}
		if c.Unit != "" {
			keys, values = append(keys, "unit"), append(values, c.Unit)
		}
		if c.Codes != nil {
			keys, values = append(keys, "codes"), append(values, strings.Join(c.Codes, " "))
		}
		if c.Identifies {
			keys, values = append(keys, "identifies"), append(values, "a person")
		}
		fields[i] = arrow.Field{Name: c.Name, Type: c.Kind.Arrow(), Nullable: !c.Required, Metadata: arrow.NewMetadata(keys, values)}
	}
	return arrow.NewSchema(fields, nil)
}

// Dictionary returns the data dictionary of columns as JSON: the same facts as
// the field metadata, for readers that see only a file's key-value metadata.
func Dictionary(t *Table, columns []Column) string {
	type entry struct {
		Name        string   `json:"name"`
		Type        string   `json:"type"`
		Unit        string   `json:"unit,omitempty"`
		Codes       []string `json:"codes,omitempty"`
		Required    bool     `json:"required,omitempty"`
		Identifies  bool     `json:"identifies,omitempty"`
		Description string   `json:"description"`
	}
	d := struct {
		Contract    int      `json:"contract"`
		Table       string   `json:"table"`
		Description string   `json:"description"`
		Row         string   `json:"row"`
		Key         []string `json:"key,omitempty"`
		Columns     []entry  `json:"columns"`
	}{Version, t.Name, t.Doc, t.Row, t.Key, nil}
	for _, c := range columns {
		d.Columns = append(d.Columns, entry{c.Name, c.Kind.String(), c.Unit, c.Codes, c.Required, c.Identifies, c.Doc})
	}
	text, err := json.Marshal(d)
	if err != nil {
		panic(err) // Plain strings and numbers always encode.
	}
	return string(text)
}
