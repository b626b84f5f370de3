#!/usr/bin/env python3
"""Filter designs by SciPy, beside what is printed in the literature, for `outside_design.rs`.

Command: python3 tests/vectors/gen/fir_design.py tests/vectors      (NumPy 2.4.6, SciPy 1.17.1)
"""
import sys
import numpy as np, json
from scipy.signal import remez, kaiserord, kaiser_atten, kaiser_beta, firwin, firwin2, firls, freqz
V={}
# F1 McClellan-Parks-Rabiner 1973 Fig 7
pub=np.array([.33740917e-2,.14938299e-1,.10569360e-1,.25415067e-2,-.15929392e-1,-.34085343e-1,-.38112177e-1,-.14629169e-1,.40089541e-1,.11540713,.18850752,.23354606])
h=remez(24,[0,.08,.16,.5],[1,0],weight=[1,1],maxiter=200,grid_density=64)
print('MPR73 fig7 max|diff|',abs(h[:12]-pub).max(), 'sym',abs(h-h[::-1]).max())
w,H=freqz(h,worN=2**16,fs=1.0); A=abs(H); dp=abs(A[w<=.08]-1).max(); ds=A[w>=.16].max(); print('dev',dp,ds,20*np.log10(ds))
V['mpr1973_n24']=dict(h=h.tolist(),dev=float(ds),published_first12=pub.tolist())
print(h[:12])
h=remez(32,[0,.1,.2,.35,.425,.5],[0,1,0],weight=[10,1,10],maxiter=200,grid_density=64)
w,H=freqz(h,worN=2**16,fs=1.0); A=abs(H)
print('MPR73 fig9',h[:16]); 
d1=A[w<=.1].max();d2=abs(A[(w>=.2)&(w<=.35)]-1).max();d3=A[w>=.425].max();print('dev',d1,d2,d3)
V['mpr1973_n32']=dict(h=h.tolist(),dev=[float(d1),float(d2),float(d3)])
# F2 Oppenheim & Schafer
A=60;print('O&S 7.5 kaiser beta',kaiser_beta(60),'M',(A-8)/(2.285*0.2*np.pi), kaiserord(60,0.2))
A=-20*np.log10(.021);print('O&S highpass A',A,'beta',kaiser_beta(A),'M',(A-8)/(2.285*.15*np.pi))
M=(-10*np.log10(.01*.001)-13)/(2.324*.2*np.pi);print('O&S PM kaiser order est',M)
for M in (25,26,27):
    h=remez(M+1,[0,.2,.3,.5],[1,0],weight=[1,10],maxiter=200,grid_density=64)
    w,H=freqz(h,worN=2**16,fs=1.0); Am=abs(H); print(' M',M,'dp %.6f ds %.7f'%(abs(Am[w<=.2]-1).max(),Am[w>=.3].max()))
    V[f'os_pm_M{M}']=dict(h=h.tolist(),dp=float(abs(Am[w<=.2]-1).max()),ds=float(Am[w>=.3].max()))
# kaiser design actual errors
h=firwin(38,0.5,window=('kaiser',5.653)); 
h=firwin(38,0.5,window=('kaiser',kaiser_beta(60)),scale=False)
w,H=freqz(h,worN=2**17,fs=2.0);Am=abs(H);print('kaiser M=37 dp %.6f ds %.7f'%(abs(Am[w<=.4]-1).max(),Am[w>=.6].max()))
V['os_kaiser_M37']=dict(h=h.tolist(),dp=float(abs(Am[w<=.4]-1).max()),ds=float(Am[w>=.6].max()))
h=firwin(25,0.425,window=('kaiser',2.6),pass_zero=False,scale=False)
w,H=freqz(h,worN=2**17,fs=2.0);Am=abs(H);print('kaiser HP M=24 ds %.6f dp %.6f'%(Am[w<=.35].max(),abs(Am[w>=.5]-1).max()))
V['os_kaiser_hp_M24']=dict(h=h.tolist())
# F3 Octave remez test
h=remez(16,[0,.15,.2,.5],[1,0],maxiter=200,grid_density=64);print('octave remez(15,..)',h[:8])
V['remez16_0p3_0p4']=h.tolist()
# F4 half band via Vaidyanathan-Nguyen trick
def halfband(J,fp):
    # length 4J-1 ; one-band prototype G of even length 2J, passband 0..2fp (fs=1), all-pass-like
    g=remez(2*J,[0,2*fp,0.5,0.5+1e-9],[1,0]) if False else remez(2*J,[0,2*fp],[1],maxiter=400,grid_density=128,fs=1.0)
    h=np.zeros(4*J-1); h[::2]=g/2; h[2*J-1]=.5
    return h
for J,fp in [(3,.2),(4,.2),(6,.2),(8,.21),(10,.2)]:
    h=halfband(J,fp); w,H=freqz(h,worN=2**16,fs=1.0);Am=abs(H)
    dp=abs(Am[w<=fp]-1).max();ds=Am[w>=.5-fp].max();c=len(h)//2
    off=[h[c+2*k] for k in range(1,c//2+1)]
    print('halfband len',len(h),'fp',fp,'dp %.3e ds %.3e (%.2f dB)'%(dp,ds,20*np.log10(ds)),'even taps',max(map(abs,off)),'sum',h.sum(), 'center',h[c], 'H(.25)',abs(np.sum(h*np.exp(-2j*np.pi*.25*np.arange(len(h))))))
    V[f'halfband_len{len(h)}_fp{fp}']=dict(h=h.tolist(),dp=float(dp),ds=float(ds))
h=firwin(31,.5,window=('kaiser',kaiser_beta(60)),scale=False);c=15;print('firwin hb even taps',max(abs(h[c+2*k]) for k in range(1,8)),h[c])
V['halfband_firwin31_kaiser60']=h.tolist()
# maximally flat 7 tap halfband & 11 tap (Goodman-Carey)
gc={'F2(3)':[1,2,1],'F3(7)':[-1,0,9,16,9,0,-1],'F4':[-2,0,11,18,11,0,-2] if False else None}
for n,hh in [('F2',[1,2,1]),('F3',[-1,0,9,16,9,0,-1]),('F5',[3,0,-25,0,150,256,150,0,-25,0,3])]:
    hh=np.array(hh,float);print(n,'sum',hh.sum(),'alt',np.sum(hh*(-1)**np.arange(len(hh))))
# F5 firls / firwin2
h=firls(33,[0,.4,.6,1],[1,1,0,0],weight=[1,10]);V['firls33']=h.tolist();print('firls33',h[:5],h[16])
h=firwin2(65,[0,.2,.25,1],[1,1/np.sinc(.1)**4 if False else 1,0,0]);V['firwin2_65']=h.tolist();print('firwin2_65',h[:3],h[32])
# F6 CIC compensation FIR by firwin2 (N=4,M=1)
f=np.linspace(0,.5,64);g=1/np.sinc(f/2)**4
h=firwin2(41,np.r_[f,[.6,1]],np.r_[g,[0,0]]);V['cic4_comp_firwin2_41']=h.tolist();print('ciccomp',h[18:21])
w,H=freqz(h,worN=4096,fs=2.0);
print(' comp flatness to .4 (fs/2 units):',20*np.log10(abs(H)*np.sinc(w/2)**4)[w<=.4].min(),20*np.log10(abs(H)*np.sinc(w/2)**4)[w<=.4].max())
# rules of thumb
print('fred harris N ~ A/(22 df): 60 dB df .1 ->',60/(22*.1),' Bellanger 2/3 log10(1/(10 d1 d2))/df ->',2/3*np.log10(1/(10*.01*.001))/.1)
json.dump(V, open(sys.argv[1] + '/fir_design.json', 'w'))
