package weights

import (
	"encoding/json"
	"fmt"
)

// ReadTokens returns the bytes of each token, in the order of their numbers, from
// a Hugging Face tokenizer.json of whisper: the ordinary tokens and, last, the end
// of text.
//
// The file writes the bytes of a token as printable characters: a byte that is a
// printable character of Latin-1 stands for itself, the others, in ascending
// order, for U+0100 and on (the byte-level alphabet of GPT-2).
func ReadTokens(src []byte) ([][]byte, error) {
	var file struct {
		Model struct {
			Vocab map[string]int `json:"vocab"`
		} `json:"model"`
		Added []struct {
			ID      int    `json:"id"`
			Content string `json:"content"`
		} `json:"added_tokens"`
	}
	if err := json.Unmarshal(src, &file); err != nil {
		return nil, err
	}
	const endOfText = "<|endoftext|>"
	end, ok := file.Model.Vocab[endOfText]
	for _, a := range file.Added {
		if a.Content == endOfText {
			end, ok = a.ID, true
		}
	}
	if !ok {
		return nil, fmt.Errorf("no %s in it", endOfText)
	}
	if end < 1 || end > 100000 {
		return nil, fmt.Errorf("%s is token %d, which cannot be", endOfText, end)
	}
	alphabet := byteAlphabet()
	tokens := make([][]byte, end+1)
	for text, id := range file.Model.Vocab {
		if id < 0 || id >= end {
			continue // marks after the end of text; whisper.cpp names them itself
		}
		if tokens[id] != nil {
			return nil, fmt.Errorf("token %d is there twice", id)
		}
		b := []byte{}
		for _, r := range text {
			x, ok := alphabet[r]
			if !ok {
				return nil, fmt.Errorf("token %d holds the character %q, which is not in the alphabet", id, r)
			}
			b = append(b, x)
		}
		tokens[id] = b
	}
	tokens[end] = []byte(endOfText)
	for id, t := range tokens {
		if t == nil {
			return nil, fmt.Errorf("token %d is missing", id)
		}
	}
	return tokens, nil
}

func byteAlphabet() map[rune]byte {
	alphabet := make(map[rune]byte, 256)
	next := rune(0x100)
	for b := range 256 {
		if b >= '!' && b <= '~' || b >= 0xa1 && b <= 0xac || b >= 0xae {
			alphabet[rune(b)] = byte(b)
		} else {
			alphabet[next] = byte(b)
			next++
		}
	}
	return alphabet
}
