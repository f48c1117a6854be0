package sqlite

import (
	"context"
	"database/sql"
	"sync"
)

// prepared is a database whose queries are prepared once: to prepare a short one
// costs as much as to answer it. Their texts are the program's own and few; of more
// than maxPrepared each further one is prepared for itself.
type prepared struct {
	*sql.DB
	mu sync.Mutex
	by map[string]*sql.Stmt
}

const maxPrepared = 200

func prepare(db *sql.DB) *prepared { return &prepared{DB: db, by: map[string]*sql.Stmt{}} }

// stmt is the prepared statement of a query, nil where there are too many.
func (p *prepared) stmt(ctx context.Context, query string) (*sql.Stmt, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if s := p.by[query]; s != nil {
		return s, nil
	}
	if len(p.by) >= maxPrepared {
		return nil, nil
	}
	s, err := p.PrepareContext(ctx, query)
	if err == nil {
		p.by[query] = s
	}
	return s, err
}

// QueryContext asks by the prepared statement of the query.
func (p *prepared) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s, err := p.stmt(ctx, query)
	if s == nil || err != nil {
		return p.DB.QueryContext(ctx, query, args...)
	}
	return s.QueryContext(ctx, args...)
}

// in is a transaction with the same statements.
func (p *prepared) in(tx *sql.Tx) preparedTx { return preparedTx{tx, p} }

type preparedTx struct {
	*sql.Tx
	of *prepared
}

// QueryContext asks by the prepared statement of the query.
func (t preparedTx) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s, err := t.of.stmt(ctx, query)
	if s == nil || err != nil {
		return t.Tx.QueryContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).QueryContext(ctx, args...)
}

// QueryRowContext asks by the prepared statement of the query.
func (t preparedTx) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	s, err := t.of.stmt(ctx, query)
	if s == nil || err != nil {
		return t.Tx.QueryRowContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).QueryRowContext(ctx, args...)
}

// ExecContext executes the prepared statement of the text.
func (t preparedTx) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	s, err := t.of.stmt(ctx, query)
	if s == nil || err != nil {
		return t.Tx.ExecContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).ExecContext(ctx, args...)
}
