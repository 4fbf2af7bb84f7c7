// Package engine runs SQL on DuckDB. It is the only package that imports the
// engine: it sets its limits, hands it zone tables that it lacks, turns its
// results into Arrow records, and keeps the cells of a row out of its errors.
package engine

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"iter"
	"os"
	"strings"

	arrow18 "github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow/go/v17/arrow"
	"github.com/marcboeker/go-duckdb"

	"thawline/internal/contract"
)

// Options limits what the engine may take.
type Options struct {
	// MemoryMB is the engine's memory limit in MiB; 0 means 1,500.
	MemoryMB int
	// Threads is the number of threads; 0 means 2. Where sessions are to work
	// beside each other it is ThreadsBeside.
	Threads int
	// AsWritten says that tables are joined in the order in which a query names them.
	// Where hundreds of queries look at little, the engine's search for a better order
	// takes a third of the time.
	AsWritten bool
	// TempDir is where large sorts spill. It is made if absent. Empty means a
	// folder under the system's temporary folder, removed by Close.
	TempDir string
}

// ThreadsBeside is how many threads an engine has whose sessions work beside
// each other: one, for each session brings a thread along. A session that waits
// for another thread's work does so by asking again and again, which took a fifth
// of the processor time of a marking.
const ThreadsBeside = 1

// Engine is a session of one private, in-memory database. It is not safe for
// concurrent use; sessions beside each other are.
type Engine struct {
	// db is nil in a session that Beside made; beside opens another.
	db     *sql.DB
	conn   *sql.Conn
	beside func(context.Context) (*sql.Conn, error)
	// temp is the folder of spilled sorts; removes is one that Close removes.
	temp, removes string
}

// Open starts an engine with macros for time arithmetic, without network,
// extensions or files of its own beyond the temporary folder.
func Open(ctx context.Context, options Options) (*Engine, error) {
	e := &Engine{}
	if options.MemoryMB == 0 {
		options.MemoryMB = 1500
	}
	if options.Threads == 0 {
		options.Threads = 2
	}
	if options.TempDir == "" {
		dir, err := os.MkdirTemp("", "thawline-")
		if err != nil {
			return nil, fmt.Errorf("make a temporary folder: %w", err)
		}
		options.TempDir, e.removes = dir, dir
	}
	e.temp = options.TempDir
	db, err := sql.Open("duckdb", "")
	if err != nil {
		return nil, fmt.Errorf("start the engine: %w", err)
	}
	e.db = db
	e.beside = db.Conn
	if e.conn, err = db.Conn(ctx); err != nil {
		e.Close()
		return nil, fmt.Errorf("start the engine: %w", err)
	}
	// A scan copies what a join of the same query has found out for it while another
	// thread of the query still adds to that: the program died of it (a segmentation
	// fault in ConjunctionAndFilter::Copy, DuckDB 1.1.3).
	without := "join_filter_pushdown"
	if options.AsWritten {
		without += ", join_order"
	}
	// The engine would fetch extensions from the network and spill into the
	// working folder by default.
	for _, set := range []string{
		"SET autoinstall_known_extensions = false",
		"SET autoload_known_extensions = false",
		fmt.Sprintf("SET memory_limit = '%dMiB'", options.MemoryMB),
		fmt.Sprintf("SET threads = %d", options.Threads),
		"SET temp_directory = " + Quote(options.TempDir),
		"SET preserve_insertion_order = true",
		// What the end of a file tells of it is read once, not by each query.
		"SET enable_object_cache = true",
		"SET disabled_optimizers = " + Quote(without),
	} {
		if err := e.Exec(ctx, "engine settings", set); err != nil {
			e.Close()
			return nil, err
		}
	}
	return e, nil
}

// Beside opens another session of the same database, with its limits: both see
// the tables that either has made, and may work at the same time. Close ends
// the new session alone.
func (e *Engine) Beside(ctx context.Context) (*Engine, error) {
	conn, err := e.beside(ctx)
	if err != nil {
		return nil, fmt.Errorf("start the engine: %w", err)
	}
	return &Engine{conn: conn, beside: e.beside, temp: e.temp}, nil
}

// Close ends the engine and removes its own temporary folder.
func (e *Engine) Close() error {
	var errs []error
	if e.conn != nil {
		errs = append(errs, e.conn.Close())
	}
	if e.db != nil {
		errs = append(errs, e.db.Close())
	}
	if e.removes != "" {
		errs = append(errs, os.RemoveAll(e.removes))
	}
	return errors.Join(errs...)
}

// Quote returns s as an SQL string literal.
func Quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

// Name returns s as an SQL identifier.
func Name(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }

// Exec runs one or several statements. what names the query in errors, as a
// reader knows it ("queries/rules/late_finish.sql").
func (e *Engine) Exec(ctx context.Context, what, query string, args ...any) error {
	_, err := e.conn.ExecContext(ctx, query, args...)
	return explain(what, err)
}

// Rows runs a query and returns its column names and its rows: nil, string,
// bool, int64, float64, time.Time, or the driver's own type for others.
func (e *Engine) Rows(ctx context.Context, what, query string, args ...any) ([]string, [][]any, error) {
	rows, err := e.conn.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, nil, explain(what, err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return nil, nil, explain(what, err)
	}
	var all [][]any
	for rows.Next() {
		cells := make([]any, len(names))
		targets := make([]any, len(names))
		for i := range cells {
			targets[i] = &cells[i]
		}
		if err := rows.Scan(targets...); err != nil {
			return nil, nil, explain(what, err)
		}
		for i := range cells {
			cells[i] = plain(cells[i])
		}
		all = append(all, cells)
	}
	return names, all, explain(what, rows.Err())
}

// plain turns the driver's whole numbers and decimals into Go's.
func plain(cell any) any {
	switch v := cell.(type) {
	case int8:
		return int64(v)
	case int16:
		return int64(v)
	case int32:
		return int64(v)
	case uint8:
		return int64(v)
	case uint16:
		return int64(v)
	case uint32:
		return int64(v)
	case float32:
		return float64(v)
	case duckdb.Decimal:
		return v.Float64()
	case []byte:
		return string(v)
	}
	return cell
}

// Records runs a query and yields its result as Arrow records in order. A
// record is valid until the loop asks for the next one. The result is whole in
// memory before the first record: split large ones.
func (e *Engine) Records(ctx context.Context, what, query string) iter.Seq2[arrow.Record, error] {
	return func(yield func(arrow.Record, error) bool) {
		err := e.read(ctx, query, func(_ arrow18.Record, record arrow.Record) bool {
			more := yield(record, nil)
			record.Release()
			return more
		})
		if err != nil {
			yield(nil, explain(what, err))
		}
	}
}

// read hands each record of a result to use, in the driver's Arrow major and in
// ours, until use returns false. The second lives as long as the first, which
// read lets go of.
func (e *Engine) read(ctx context.Context, query string, use func(arrow18.Record, arrow.Record) bool) error {
	return e.conn.Raw(func(raw any) error {
		gate, err := duckdb.NewArrowFromConn(raw.(driver.Conn))
		if err != nil {
			return err
		}
		reader, err := gate.QueryContext(ctx, query)
		if err != nil {
			return err
		}
		defer reader.Release()
		for reader.Next() {
			record, err := fromV18(reader.Record())
			if err != nil {
				return err
			}
			if !use(reader.Record(), record) {
				return nil
			}
		}
		return reader.Err()
	})
}

// Load makes table name from rows, for the small tables that Go knows: policy
// values, zone, readings. A cell is nil, string, bool, int64, float64 or
// time.Time (UTC).
func (e *Engine) Load(ctx context.Context, name string, columns []contract.Column, rows [][]any) error {
	what := "table " + name
	if err := e.Exec(ctx, what, create(name, columns)); err != nil {
		return err
	}
	err := e.conn.Raw(func(raw any) error {
		appender, err := duckdb.NewAppenderFromConn(raw.(driver.Conn), "", name)
		if err != nil {
			return err
		}
		for _, row := range rows {
			cells := make([]driver.Value, len(row))
			for i, cell := range row {
				cells[i] = cell
			}
			if err := appender.AppendRow(cells...); err != nil {
				appender.Close()
				return err
			}
		}
		return appender.Close()
	})
	return explain(what, err)
}

// View makes name a view over Parquet files of that shape; without files, an
// empty table of that shape, so that SQL need not know which feeds a site has.
// With fileColumn set, the view has a column of that name with the file's path.
func (e *Engine) View(ctx context.Context, name string, columns []contract.Column, files []string, fileColumn string) error {
	what := "table " + name
	if len(files) == 0 {
		if fileColumn != "" {
			columns = append(columns[:len(columns):len(columns)], contract.Column{Name: fileColumn})
		}
		return e.Exec(ctx, what, create(name, columns))
	}
	quoted := make([]string, len(files))
	for i, f := range files {
		quoted[i] = Quote(f)
	}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = Name(c.Name)
	}
	extra := ""
	if fileColumn != "" {
		names = append(names, "filename AS "+Name(fileColumn))
		extra = ", filename = true"
	}
	return e.Exec(ctx, what, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT %s FROM read_parquet([%s], hive_partitioning = false%s)",
		Name(name), strings.Join(names, ", "), strings.Join(quoted, ", "), extra))
}

func create(name string, columns []contract.Column) string {
	parts := make([]string, len(columns))
	for i, c := range columns {
		parts[i] = Name(c.Name) + " " + c.Kind.SQL()
	}
	return fmt.Sprintf("CREATE OR REPLACE TABLE %s (%s)", Name(name), strings.Join(parts, ", "))
}
