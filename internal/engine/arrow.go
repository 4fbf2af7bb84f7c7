package engine

import (
	"fmt"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"

	arrow18 "github.com/apache/arrow-go/v18/arrow"
)

// fromV18 hands a record of the driver's Arrow major on as one of ours. The
// memory layout of the two is the same (the Arrow columnar format), so the
// buffers are shared, not copied: the result lives as long as its origin.
func fromV18(from arrow18.Record) (arrow.Record, error) {
	fields := make([]arrow.Field, from.NumCols())
	columns := make([]arrow.Array, from.NumCols())
	for i := range fields {
		name := from.ColumnName(i)
		data := from.Column(i).Data()
		kind, err := typeFromV18(data.DataType())
		if err != nil {
			return nil, fmt.Errorf("column %s: %w", name, err)
		}
		buffers := make([]*memory.Buffer, len(data.Buffers()))
		for b, buffer := range data.Buffers() {
			if buffer != nil {
				buffers[b] = memory.NewBufferBytes(buffer.Bytes())
			}
		}
		shared := array.NewData(kind, data.Len(), buffers, nil, data.NullN(), data.Offset())
		columns[i] = array.MakeFromData(shared)
		fields[i] = arrow.Field{Name: name, Type: kind, Nullable: true}
	}
	return array.NewRecord(arrow.NewSchema(fields, nil), columns, from.NumRows()), nil
}

func typeFromV18(from arrow18.DataType) (arrow.DataType, error) {
	switch t := from.(type) {
	case *arrow18.StringType:
		return arrow.BinaryTypes.String, nil
	case *arrow18.Int64Type:
		return arrow.PrimitiveTypes.Int64, nil
	case *arrow18.Int32Type:
		return arrow.PrimitiveTypes.Int32, nil
	case *arrow18.Float64Type:
		return arrow.PrimitiveTypes.Float64, nil
	case *arrow18.BooleanType:
		return arrow.FixedWidthTypes.Boolean, nil
	case *arrow18.Date32Type:
		return arrow.FixedWidthTypes.Date32, nil
	case *arrow18.TimestampType:
		return &arrow.TimestampType{Unit: arrow.TimeUnit(t.Unit)}, nil
	case *arrow18.Decimal128Type:
		return &arrow.Decimal128Type{Precision: t.Precision, Scale: t.Scale}, nil
	}
	return nil, fmt.Errorf("type %s has no place in the contract: cast it in the query", from)
}
