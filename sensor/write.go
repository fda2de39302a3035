package sensor

import (
	"bufio"
	"errors"
	"io"
	"strconv"
)

// WriteCSV writes what is left of src to w, as Decode reads it back exactly: a header such as
// t_s,x_m/s2,y_m/s2,z_m/s2, then one row a sample with as many digits as it takes. It returns
// when src has ended (io.EOF is not an error) and does not close it. Lost, Range and Notes have
// no place in the file.
func WriteCSV(w io.Writer, src Source) error {
	out := bufio.NewWriterSize(w, longest)
	var line []byte
	first := true
	for {
		b, err := src.Next()
		if errors.Is(err, io.EOF) {
			return out.Flush()
		}
		if err != nil {
			return errors.Join(err, out.Flush())
		}
		line = line[:0]
		if len(b.T) == 0 {
			continue
		}
		if first {
			line = append(line, "t_s"...)
			for k := range b.Axes {
				line = append(line, ',', "xyz"[k])
				line = append(line, "_m/s2"...)
			}
			line = append(line, '\n')
			first = false
		}
		for i, t := range b.T {
			line = strconv.AppendFloat(line, t, 'g', -1, 64)
			for _, axis := range b.Axes {
				line = strconv.AppendFloat(append(line, ','), axis[i], 'g', -1, 64)
			}
			line = append(line, '\n')
		}
		if _, err := out.Write(line); err != nil {
			return err
		}
	}
}
