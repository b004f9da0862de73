package samples

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// mostPacket is the most that a packet may hold, in bytes. Sound takes kilobytes; pictures in the
// comments take megabytes.
const mostPacket = 16 << 20

// oggPage is one page of an Ogg stream (RFC 3533, section 6).
type oggPage struct {
	continued, first, last bool
	// frames that end with the last packet that ends here; -1 where none does
	granule int64
	serial  uint32
	packets [][]byte
	open    bool // the last packet goes on in the next page
}

// oggCRC is the table of the checksum of RFC 3533: the polynomial 0x04c11db7, not reflected.
var oggCRC = func() (t [256]uint32) {
	for k := range t {
		c := uint32(k) << 24
		for range 8 {
			c = c<<1 ^ c>>31*0x04c11db7
		}
		t[k] = c
	}
	return t
}()

var errNoPage = errors.New("no page of an Ogg stream")

// readOggPage reads the next page. It returns io.EOF at the end, io.ErrUnexpectedEOF for part of a
// page, and errNoPage for what is none. The packets are good until the next call with the same buf.
func readOggPage(from io.Reader, buf *[27 + 255 + 255*255]byte) (p oggPage, err error) {
	if _, err := io.ReadFull(from, buf[:27]); err != nil {
		return p, err
	}
	le := binary.LittleEndian
	if string(buf[:5]) != "OggS\x00" {
		return p, errNoPage
	}
	sizes := buf[27 : 27+int(buf[26])]
	length := 0
	_, err = io.ReadFull(from, sizes)
	for _, s := range sizes {
		length += int(s)
	}
	body := buf[27+len(sizes):][:length]
	if err == nil {
		_, err = io.ReadFull(from, body)
	}
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	if err != nil {
		return p, err
	}
	stated := le.Uint32(buf[22:])
	clear(buf[22:26])
	sum := uint32(0)
	for _, b := range buf[:27+len(sizes)+length] {
		sum = sum<<8 ^ oggCRC[byte(sum>>24)^b]
	}
	if sum != stated {
		return p, errors.New("a page has another checksum than it states")
	}
	p = oggPage{
		continued: buf[5]&1 != 0, first: buf[5]&2 != 0, last: buf[5]&4 != 0,
		granule: int64(le.Uint64(buf[6:])), serial: le.Uint32(buf[14:]),
	}
	n := 0
	for _, s := range sizes {
		if n += int(s); s < 255 {
			p.packets = append(p.packets, body[:n])
			body, n = body[n:], 0
		}
	}
	if p.open = len(sizes) > 0 && sizes[len(sizes)-1] == 255; p.open {
		p.packets = append(p.packets, body[:n])
	}
	return p, nil
}

// oggPackets hands out the packets of the first stream in a file, whole.
type oggPackets struct {
	from  io.Reader
	buf   [27 + 255 + 255*255]byte
	pages int
	page  oggPage
	part  []byte // of a packet that goes on in the next page

	other bool // another stream follows
	cut   bool // it ends without a last page
}

// next is the next packet. ends is the granule of its page where it is the last that ends there,
// else -1; last says that it ends the stream. At the end it returns io.EOF.
func (o *oggPackets) next() (packet []byte, ends int64, last bool, err error) {
	for {
		if len(o.page.packets) > 1 || len(o.page.packets) == 1 && !o.page.open {
			packet = o.page.packets[0]
			o.page.packets = o.page.packets[1:]
			if o.part != nil {
				packet, o.part = append(o.part, packet...), nil
			}
			ends = -1
			if rest := len(o.page.packets); rest == 0 || rest == 1 && o.page.open {
				ends, last = o.page.granule, o.page.last
			}
			return packet, ends, last, nil
		}
		if len(o.page.packets) == 1 {
			o.part = append(o.part, o.page.packets[0]...)
			if len(o.part) > mostPacket {
				return nil, -1, false, fmt.Errorf("has a packet of more than %d MiB", mostPacket>>20)
			}
		}
		if o.page.last {
			_, err := readOggPage(o.from, &o.buf)
			o.other = err == nil
			return nil, -1, false, io.EOF
		}
		serial := o.page.serial
		p, err := readOggPage(o.from, &o.buf)
		switch {
		case (err == io.EOF || err == io.ErrUnexpectedEOF) && o.pages > 0:
			o.cut = true
			return nil, -1, false, io.EOF
		case err != nil:
			return nil, -1, false, err
		case o.pages > 0 && (p.first || p.serial != serial):
			return nil, -1, false, errors.New("holds several streams at once; one of Vorbis is read")
		case p.continued != (o.part != nil) && len(p.packets) > 0:
			return nil, -1, false, errors.New("a page is missing, or there is one too many")
		}
		o.pages++
		o.page = p
	}
}
