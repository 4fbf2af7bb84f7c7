package xlsx

import (
	"archive/zip"
	"bufio"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strings"

	"thawline/internal/read/source"
)

// pack is the ZIP archive that a workbook is (ECMA-376 part 2).
type pack struct {
	name string
	zip  *zip.Reader
}

// fault is a fault of the file as a whole.
func (p *pack) fault(says string) error { return &source.Error{Name: p.name, Says: says} }

const damagedZip = "found a spreadsheet (XLSX) that is damaged: it was cut short or changed when it was copied; copy or export it again"

func openPack(at io.ReaderAt, size int64, name string) (*pack, error) {
	p := &pack{name: name}
	z, err := zip.NewReader(inside{at}, size)
	if err != nil {
		return nil, p.damage(err)
	}
	p.zip = z
	return p, nil
}

// inside keeps an archive's own pointers from places that no file has, and
// the disk's errors apart from what an archive makes of its bytes.
type inside struct{ io.ReaderAt }

func (r inside) ReadAt(b []byte, at int64) (int, error) {
	if at < 0 {
		return 0, zip.ErrFormat
	}
	n, err := r.ReaderAt.ReadAt(b, at)
	if err != nil && err != io.EOF {
		err = diskError{err}
	}
	return n, err
}

type diskError struct{ error }

// damage says what an error of the archive means; the disk's own stays as it is.
func (p *pack) damage(err error) error {
	var fault *source.Error
	var disk diskError
	switch {
	case errors.As(err, &fault):
		return err
	case errors.As(err, &disk):
		return disk.error
	}
	return p.fault(damagedZip)
}

// find returns a part by its name, which is compared without case (ECMA-376
// part 2, 6.3.5), or nil. Some writers part folders by a backslash.
func (p *pack) find(part string) *zip.File {
	part = strings.TrimPrefix(part, "/")
	for _, f := range p.zip.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, "\\", "/"), part) {
			return f
		}
	}
	return nil
}

// part is an open part of the package.
type part struct {
	io.Reader
	close func() error
}

// open opens a part; its size is watched while it is unpacked.
func (p *pack) open(f *zip.File) (*part, error) {
	r, err := f.Open()
	if err != nil {
		return nil, p.damage(err)
	}
	// The archive's own table tells the packed size; no part is larger than the file.
	packed := int64(min(f.CompressedSize64, 1<<40))
	watched := source.Watch(r, p.name, func() int64 { return packed })
	return &part{bufio.NewReaderSize(watched, 64<<10), r.Close}, nil
}

// decode reads a whole part into a value by encoding/xml. Only parts of a
// bounded size are read so.
func (p *pack) decode(f *zip.File, into any) error {
	const most = 64 << 20
	if f.UncompressedSize64 > most {
		return p.fault("found a spreadsheet (XLSX) whose table of styles or sheets has over 64 MB, which none has: it is damaged or a trap; export it as CSV")
	}
	r, err := p.open(f)
	if err != nil {
		return err
	}
	defer r.close()
	if err := xml.NewDecoder(io.LimitReader(r, most)).Decode(into); err != nil {
		return p.damage(err)
	}
	return nil
}

// relations are the targets of a part's relationships (ECMA-376 part 2, 6.5).
type relations struct {
	Relationship []struct {
		ID         string `xml:"Id,attr"`
		Type       string `xml:"Type,attr"`
		Target     string `xml:"Target,attr"`
		TargetMode string `xml:"TargetMode,attr"`
	}
}

// related reads the relationships of a part; "" is the package itself.
func (p *pack) related(of string) (relations, error) {
	var all relations
	f := p.find(path.Join(path.Dir(of), "_rels", path.Base(of)+".rels"))
	if of == "" {
		f = p.find("_rels/.rels")
	}
	if f == nil {
		return all, nil
	}
	err := p.decode(f, &all)
	for i := range all.Relationship {
		r := &all.Relationship[i]
		if target := strings.ReplaceAll(r.Target, "\\", "/"); strings.HasPrefix(target, "/") {
			r.Target = strings.TrimPrefix(path.Clean(target), "/")
		} else {
			r.Target = path.Join(path.Dir(of), target)
		}
	}
	return all, err
}

// byType returns the target of the first relationship of a type. The types of
// the transitional and the strict form end alike.
func (r relations) byType(kind string) string {
	for _, one := range r.Relationship {
		if strings.HasSuffix(one.Type, "/"+kind) && one.TargetMode != "External" {
			return one.Target
		}
	}
	return ""
}

// byID returns the target of a relationship if it is of a type.
func (r relations) byID(id, kind string) string {
	for _, one := range r.Relationship {
		if one.ID == id && strings.HasSuffix(one.Type, "/"+kind) && one.TargetMode != "External" {
			return one.Target
		}
	}
	return ""
}
