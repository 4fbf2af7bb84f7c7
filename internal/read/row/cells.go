package row

import "bytes"

// Sheet is the columns of the rows of one file, for formats that know their
// cells by name.
type Sheet struct {
	// Names are the names of the columns, in order.
	Names []string
	at    map[string]int
}

// NewSheet makes a sheet of columns of different names.
func NewSheet(names []string) *Sheet {
	s := &Sheet{Names: append([]string{}, names...), at: map[string]int{}}
	for i, name := range s.Names {
		s.at[name] = i
	}
	return s
}

// Column gives the place of a column, which is added where there is none.
func (s *Sheet) Column(name string) int {
	i, there := s.at[name]
	if !there {
		i = len(s.Names)
		s.Names = append(s.Names, name)
		s.at[name] = i
	}
	return i
}

// Cells makes the cells of a row, all empty.
func (s *Sheet) Cells() Cells { return Cells{s, make([][]byte, len(s.Names))} }

// Cells are the cells of one row. Copies share the texts; see Clone.
type Cells struct {
	sheet *Sheet
	// Texts hold the cells in the order of the sheet's names.
	Texts [][]byte
}

// Set fills a cell; the sheet has a column of that name.
func (c Cells) Set(name string, text []byte) { c.Texts[c.place(name)] = text }

// Get gives a cell; the sheet has a column of that name.
func (c Cells) Get(name string) []byte { return c.Texts[c.place(name)] }

func (c Cells) place(name string) int {
	i, there := c.sheet.at[name]
	if !there {
		panic("row: no column " + name)
	}
	return i
}

// Take copies a cell of another row of the same sheet, where there is such a
// column.
func (c Cells) Take(from Cells, name string) {
	if i, there := c.sheet.at[name]; there {
		c.Texts[i] = from.Texts[i]
	}
}

// Clone copies the cells and their texts, which then hold nothing else in memory.
func (c Cells) Clone() Cells {
	texts := make([][]byte, len(c.Texts))
	for i, t := range c.Texts {
		texts[i] = bytes.Clone(t)
	}
	return Cells{c.sheet, texts}
}
