#!/usr/bin/env python3
"""Hogenauer 1981: variance gains F_j^2 and discarded bits of a pruned CIC, exact polynomials.

Command: python3 tests/vectors/gen/pruning.py tests/vectors      (mpmath 1.4.1)
"""
import sys
import json
import math
from mpmath import mp, mpf
mp.dps=40
def poly_mul(a,b):
    r=[0]*(len(a)+len(b)-1)
    for i,x in enumerate(a):
        for j,y in enumerate(b): r[i+j]+=x*y
    return r
def hsub(N,R,M,j):
    # impulse response from input of stage j to output at high rate; exact integers
    RM=R*M
    if j<=N:
        # N-j+1 integrators then N combs => (sum z^-k)^{N-j+1} * (1-z^-RM)^{j-1}
        h=[1]
        for _ in range(N-j+1): h=poly_mul(h,[1]*RM)
        for _ in range(j-1): h=poly_mul(h,[1]+[0]*(RM-1)+[-1])
    else:
        h=[1]
        for _ in range(2*N+1-j): h=poly_mul(h,[1]+[0]*(RM-1)+[-1])
    return h
def prune(N,R,M,Bin,Bout):
    G=(R*M)**N
    growth=math.ceil(N*math.log2(R*M)-1e-12)
    # exact check
    assert 2**growth>=G>2**(growth-1)
    Bmax=growth+Bin-1
    BT=Bmax-Bout+1          # B_{2N+1} discarded at output
    sT2=mpf(4)**BT/12       # total output error variance
    rows=[]
    for j in range(1,2*N+1):
        h=hsub(N,R,M,j); F2=sum(x*x for x in h)
        # NB for the combs the impulse response is at the low rate, same F2
        val=-mp.log(mpf(F2),2)/2+mp.log(sT2,2)/2+mp.log(mpf(6)/N,2)/2
        rows.append((j,F2,float(mp.sqrt(F2)),float(val),int(mp.floor(val))))
    rows.append((2*N+1,1,1.0,float(BT),BT))
    return dict(N=N,R=R,M=M,Bin=Bin,Bout=Bout,gain=G,growth=growth,Bmax=Bmax,width=Bmax+1,rows=rows)
if __name__=="__main__":
    out=[]
    for a in [(4,25,1,16,16),(3,8,1,12,12),(3,16,1,16,16),(5,64,1,16,24),(4,10,1,12,16),(3,128,1,16,16)]:
        p=prune(*a); out.append(p)
        print(a,'gain',p['gain'],'growth',p['growth'],'Bmax',p['Bmax'])
        for r in p['rows']: print('  j=%d F2=%d F=%.6f raw=%.5f B=%d keep=%d'%(r+( p['Bmax']+1-r[4],)))
    json.dump(out,open(sys.argv[1] + '/cic_pruning.json', 'w'),indent=1,default=str)
