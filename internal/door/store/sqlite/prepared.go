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
	mu     sync.Mutex
	by     map[string]*sql.Stmt
	aside  sync.WaitGroup // queries being prepared
	open   context.Context
	cancel func()
}

// Close gives the database up, and leaves no connection open.
func (p *prepared) Close() error {
	p.mu.Lock() // none is begun after this
	p.cancel()
	p.mu.Unlock()
	p.aside.Wait()
	return p.DB.Close()
}

const maxPrepared = 200

func prepare(db *sql.DB) *prepared {
	open, cancel := context.WithCancel(context.Background())
	return &prepared{DB: db, by: map[string]*sql.Stmt{}, open: open, cancel: cancel}
}

// stmt is the prepared statement of a query; nil until it is, and where there are
// too many. It is prepared aside: that takes a connection, and who asks may hold the
// last one in a transaction.
func (p *prepared) stmt(query string) *sql.Stmt {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, begun := p.by[query]
	if !begun && len(p.by) < maxPrepared && p.open.Err() == nil {
		p.by[query] = nil
		p.aside.Go(func() { p.prepare(query) })
	}
	return s
}

func (p *prepared) prepare(query string) {
	s, err := p.PrepareContext(p.open, query)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.by[query] = s; err != nil {
		delete(p.by, query) // who asks by its text is told what is wrong
	}
}

// QueryContext asks by the prepared statement of the query.
func (p *prepared) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s := p.stmt(query)
	if s == nil {
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
	s := t.of.stmt(query)
	if s == nil {
		return t.Tx.QueryContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).QueryContext(ctx, args...)
}

// QueryRowContext asks by the prepared statement of the query.
func (t preparedTx) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	s := t.of.stmt(query)
	if s == nil {
		return t.Tx.QueryRowContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).QueryRowContext(ctx, args...)
}

// ExecContext executes the prepared statement of the text.
func (t preparedTx) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	s := t.of.stmt(query)
	if s == nil {
		return t.Tx.ExecContext(ctx, query, args...)
	}
	return t.StmtContext(ctx, s).ExecContext(ctx, args...)
}
